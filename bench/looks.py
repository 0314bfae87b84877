"""Look files: how long reading takes beside OpenColorIO, and what refusing a bad one costs.

Every file is read from disk, judged, parsed and checked, in turn with OpenColorIO loading the same
file (its caches emptied, a new configuration), in one process. Refusals are timed each by itself,
with the memory that Python and NumPy asked for.

    python bench/looks.py
    python bench/looks.py --rounds 25
"""

from __future__ import annotations

import argparse
import os
import statistics
import sys
import tempfile
import time
import tracemalloc
from collections.abc import Callable
from pathlib import Path

import PyOpenColorIO as ocio

from evenhand.grade.clf import to_clf
from evenhand.grade.look_file import read_look
from evenhand.grade.looks import look_named
from evenhand.grade.tables import lattice_of
from evenhand.luts.cube import CubeFile, write
from evenhand.luts.errors import LookFileError
from evenhand.luts.tables import Table3D
from evenhand.measure.looks.kind import look_kind
from evenhand.media.look_file import read_look_bytes

MIB = 1 << 20


def say(text: str) -> None:
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


def ours(path: Path) -> None:
    read_look(read_look_bytes(path), path.name)


def theirs(path: Path) -> None:
    ocio.ClearAllCaches()
    transform = ocio.FileTransform(str(path), interpolation=ocio.INTERP_TETRAHEDRAL)
    ocio.Config.CreateRaw().getProcessor(transform)


def in_turn(runs: list[Callable[[], object]], rounds: int) -> list[float]:
    """Medians in milliseconds of runs that alternate."""
    times: list[list[float]] = [[] for _ in runs]
    for _ in range(rounds + 1):
        for run, kept in zip(runs, times, strict=True):
            start = time.perf_counter()
            run()
            kept.append((time.perf_counter() - start) * 1e3)
    return [statistics.median(kept[1:]) for kept in times]


def good_files(folder: Path) -> list[Path]:
    paths = []
    for size in (17, 33, 65):
        lattice = lattice_of(look_named("oven-light"), size)
        for suffix, data in (
            ("cube", write(CubeFile(three=Table3D(lattice), title="Oven light"))),
            ("clf", to_clf(lattice, "oven-light")),
        ):
            paths.append(folder / f"{size}.{suffix}")
            paths[-1].write_bytes(data)
    return paths


def bad_files(folder: Path) -> list[tuple[str, Path]]:
    """What is refused: by its head, by its size, and by a fault on the last line."""
    big = (folder / "65.cube").read_bytes()
    clf = (folder / "65.clf").read_bytes()
    rows = b"0.5 0.5 0.5\n" * 6000
    contents = {
        "4 GB of zeros": (b"", 4 << 30),
        "4 GB, a good header": (b"LUT_3D_SIZE 33\n" + rows, 4 << 30),
        "500 MB, 33 nodes": (b"LUT_3D_SIZE 33\n" + rows, 500 * MIB),
        "500 MB, nan in row 1": (b"LUT_3D_SIZE 256\n0 0 nan\n" + rows, 500 * MIB),
        "size 4000000000": (b"LUT_3D_SIZE 4000000000\n0 0 0\n", 0),
        "size 256, 8 rows": (b"LUT_3D_SIZE 256\n" + b"0 0 0\n" * 8, 0),
        "a line of 100 MB": (b"TITLE " + b"x" * 100, 100 * MIB),
        "40 000 comments": (b"#\n" * 40_000 + big, 0),
        "65 nodes, nan at the end": (big[:-9] + b"nan\n", 0),
        "65 nodes, a row too many": (big + b"0 0 0\n", 0),
        "65 nodes, a row missing": (big[:-27], 0),
        "129 nodes, nan at the end": (
            b"LUT_3D_SIZE 129\n" + b"0.250000 0.500000 0.750000\n" * (129**3 - 1) + b"0 0 nan", 0),
        "a zip": (b"PK\x03\x04" + big, 0),
        "XML, 4 GB": (b"<ProcessList>", 4 << 30),
        "XML, entities": (b'<!DOCTYPE a [<!ENTITY a "a">]>' + clf, 0),
        "CLF, a reference": (
            b'<ProcessList id="a" compCLFversion="3"><Reference path="/a"/></ProcessList>', 0),
        "CLF, 300 nodes": (clf.replace(b'"65 65 65 3"', b'"300 300 300 3"'), 0),
        "CLF, nan at the end": (clf.replace(b"</Array>", b"nan</Array>"), 0),
    }  # fmt: skip
    paths = []
    for number, (label, (data, length)) in enumerate(contents.items()):
        path = folder / f"bad-{number}.cube"
        path.write_bytes(data)
        if length:
            os.truncate(path, length)
        paths.append((label, path))
    return paths


def refusal(path: Path) -> tuple[float, float, str]:
    """Median milliseconds of seven, the peak in MiB that was asked for, and what is said."""
    says = ""

    def refused() -> None:
        nonlocal says
        try:
            ours(path)
        except LookFileError as error:
            says = error.found
        else:
            raise SystemExit(f"{path} was read")

    (median,) = in_turn([refused], 7)
    tracemalloc.start()
    refused()
    peak = tracemalloc.get_traced_memory()[1] / MIB
    tracemalloc.stop()
    return median, peak, says


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rounds", type=int, default=15)
    rounds = parser.parse_args().rounds
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        say("| file | MB | evenhand, ms | OpenColorIO, ms | ratio |\n|---|---|---|---|---|")
        for path in good_files(folder):
            mine, other = in_turn([lambda p=path: ours(p), lambda p=path: theirs(p)], rounds)
            size = path.stat().st_size / 1e6
            say(f"| {path.name} | {size:.2f} | {mine:.1f} | {other:.1f} | {mine / other:.2f} |")
        lattice = lattice_of(look_named("oven-light"), 65)
        table = Table3D(lattice)
        look = read_look((folder / "33.cube").read_bytes(), "33.cube").look
        kinds, cube, clf = in_turn(
            [
                lambda: look_kind(look),
                lambda: write(CubeFile(three=table)),
                lambda: to_clf(lattice, "x"),
            ],
            5,
        )
        say(
            f"\nkind of a look {kinds:.1f} ms; 65 nodes written: .cube {cube:.0f}, CLF {clf:.0f} ms"
        )
        say("\n| refused | ms | MiB | says |\n|---|---|---|---|")
        for label, path in bad_files(folder):
            median, peak, says = refusal(path)
            say(f"| {label} | {median:.1f} | {peak:.1f} | {says} |")
    return 0


if __name__ == "__main__":
    sys.exit(main())
