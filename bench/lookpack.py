"""Packing looks: how long the ten that evenhand brings take, with their sheet, and a check of it.

Each run is a process of its own, as from the command line; wall time, processor time, memory
(ru_maxrss, MiB) and size of the zip. Run it with nothing else running.

    python bench/lookpack.py
    python bench/lookpack.py --rounds 5 --all
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import NamedTuple

ALL = [f"--size={size}" for size in (17, 33, 65)] + ["--format=cube", "--format=clf"]


class Run(NamedTuple):
    wall: float
    processor: float
    memory: float


def say(text: str) -> None:
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


def run(*words: str) -> Run:
    """One call of the command line."""
    start = time.perf_counter()
    command = [sys.executable, "-m", "evenhand", "look", "pack", *words]
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    _, status, usage = os.wait4(process.pid, 0)
    if status:
        raise SystemExit(f"{' '.join(words)}: status {status}")
    wall = time.perf_counter() - start
    return Run(wall, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024)


def report(label: str, runs: list[Run], size: int) -> None:
    wall, processor, memory = (statistics.median(part) for part in zip(*runs, strict=True))
    say(f"{label:34} {wall:6.1f} s  {processor:6.1f} s  {memory:6.0f} MiB  {size / 1e6:6.1f} MB")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--all", action="store_true", help="all sizes in both kinds of file too")
    arguments = parser.parse_args()
    say(f"load {os.getloadavg()[0]:.1f}, {os.cpu_count()} processors")
    say(f"{'':34} {'wall':>8}  {'processor':>8}  {'memory':>10}  {'zip':>9}")
    cases = {"ten looks, as usual": []} | ({"all sizes, both kinds": ALL} if arguments.all else {})
    with tempfile.TemporaryDirectory() as folder:
        for label, options in cases.items():
            path = Path(folder) / "looks.zip"
            runs = [
                run("--to", str(path), "--overwrite", *options) for _ in range(arguments.rounds)
            ]
            report(label, runs, path.stat().st_size)
            runs = [run("--check", str(path)) for _ in range(arguments.rounds)]
            report(f"  check of that ({label.split(',')[0]})", runs, path.stat().st_size)


if __name__ == "__main__":
    main()
