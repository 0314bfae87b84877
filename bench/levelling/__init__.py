"""How well levelling works, against physical truth: `python -m bench.levelling --write`.

    python -m bench.levelling [--quick] [--only PART …] [--write]

Pictures made by program and from spectra, the demo's, and photographs where they are installed or
lie beside the repository, go through a simulated camera with known faults. With --write the tables
go to bench/levelling-results.md.
"""
