"""What it costs to look into clips in child processes, and what two of them gain.

    python bench/children.py CARD

Scanning: each clip is probed and identified by itself in this process, then in a pool of one child,
then of two, in turn, after the children have been started. Measuring: all that levelling measures
of a clip, in one child and in two. Medians of five and of three rounds.
"""

from __future__ import annotations

import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path

import click

from evenhand.children import Pool, Task
from evenhand.colourmath.encodings import ENCODINGS
from evenhand.jobs.hands import MODULES, begin, hands
from evenhand.jobs.identification import facts_and_signs
from evenhand.jobs.identify import SUFFIXES
from evenhand.jobs.looking import Source, looked_at
from evenhand.measure.identity.evidence import identify


def timed(work: Callable[[], object]) -> float:
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


def warm(pool: Pool) -> None:
    """As many children as the pool may have, with their libraries in."""
    list(pool.run([Task(n, "", time.sleep, (0.3,)) for n in range(pool.workers)]))


def main() -> None:
    clips = [p for p in sorted(Path(sys.argv[1]).iterdir()) if p.suffix.lower() in SUFFIXES]
    began = time.perf_counter()
    with hands(1) as one, hands(2) as two:
        warm(one)
        start = time.perf_counter() - began
        warm(two)
        begin()

        def scan(pool: Pool) -> None:
            for outcome in pool.run([Task(p, str(p), facts_and_signs, (p, None)) for p in clips]):
                outcome.got()

        def here() -> None:
            for path in clips:
                facts_and_signs(path, None)

        here()
        rounds = [
            (timed(here), timed(lambda: scan(one)), timed(lambda: scan(two))) for _ in "12345"
        ]
        alone, single, double = (statistics.median(column) for column in zip(*rounds, strict=True))
        sources = []
        for number, path in enumerate(clips):
            facts, signs = facts_and_signs(path, None)
            encoding = identify(signs).encoding or ENCODINGS["phone-log-1"]
            sources.append(
                Source(str(number), number, path, facts, path.name, encoding, True, True)
            )

        def measure(pool: Pool) -> None:
            tasks = [Task(s.id, str(s.path), looked_at, (s, None, True)) for s in sources]
            for outcome in pool.run(tasks):
                outcome.got()

        pairs = [(timed(lambda: measure(one)), timed(lambda: measure(two))) for _ in "123"]
        heavy, shared = (statistics.median(column) for column in zip(*pairs, strict=True))
    count = len(clips)
    click.echo(f"{count} clips; a child with {len(MODULES)} modules is there after {start:.2f} s")
    click.echo(
        f"scan: {1000 * alone / count:.1f} ms a clip here, {1000 * single / count:.1f} in one "
        f"child ({1000 * (single - alone) / count:+.1f}), {1000 * double / count:.1f} in two"
    )
    click.echo(
        f"measure: {heavy / count:.2f} s a clip in one child, {shared / count:.2f} in two: "
        f"{heavy / shared:.2f} times as fast"
    )


if __name__ == "__main__":
    main()
