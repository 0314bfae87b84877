"""Runs the bench: `python -m bench.levelling [--quick] [--only PART …] [--write]`."""

from __future__ import annotations

import argparse
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

from bench.levelling import sources, speed
from bench.levelling.plan import alone, parts

RESULTS = Path(__file__).parent.parent / "levelling-results.md"


def main() -> None:
    """Runs the parts in two processes, then the timings alone, and shows the tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="a fifth of the cases")
    parser.add_argument("--only", nargs="*", help="names of parts")
    parser.add_argument("--write", action="store_true", help="write bench/levelling-results.md")
    options = parser.parse_args()
    start = time.perf_counter()
    sources.demo()  # rendered once, before two processes want it
    chosen = {
        k: p for k, p in parts(options.quick).items() if not options.only or k in options.only
    }
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        running = {name: pool.submit(alone, part) for name, part in chosen.items()}
        tables = {name: task.result() for name, task in running.items()}
    if not options.only or "speed" in options.only:
        tables["speed"] = speed.report(3 if options.quick else 7)
    command = " ".join(["python -m bench.levelling", *sys.argv[1:]])
    lines = ["# Levelling: figures", "", f"Written by `{command}`. {sources.told()}", ""]
    lines += ["Median / 90 % / worst. Errors are of an 18 % grey after the correction.", ""]
    lines += [line for table in tables.values() for line in table]
    lines.append(f"All of it took {time.perf_counter() - start:.0f} s.")
    text = "\n".join(lines) + "\n"
    sys.stdout.write(text)
    if options.write:
        RESULTS.write_text(text)


if __name__ == "__main__":
    main()
