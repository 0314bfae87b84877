"""How long the parts of a scan take: probe, identification, chart, scopes; medians in milliseconds.

python bench/parts.py CLIP…
"""

from __future__ import annotations

import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from evenhand.grade.exact import scene_light
from evenhand.jobs.identification import signs_of
from evenhand.measure.chart import find_chart
from evenhand.measure.identity.evidence import identify
from evenhand.measure.scopes import measure_scopes
from evenhand.media.analysis import small_signals
from evenhand.media.probe import probe

ROUNDS = 5


def milliseconds(run: Callable[[], object]) -> float:
    """The median of some runs after a first one that compiles and warms."""
    run()
    taken = []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        run()
        taken.append(time.perf_counter() - start)
    return 1e3 * statistics.median(taken)


def report(path: Path) -> str:
    """One clip's line."""
    facts = probe(path)
    encoding = identify(signs_of(path, facts)).encoding
    parts = {
        "probe": lambda: probe(path),
        "identify": lambda: identify(signs_of(path, facts)),
    }
    if encoding is not None:
        [(_, signal)] = small_signals(path, facts, encoding, [0.5], 1280)
        hd = np.ascontiguousarray(np.resize(signal, (1080, 1920, 3)))
        parts["chart, 1280 pixels"] = lambda: find_chart(
            signal, lambda part: scene_light(part, encoding), 1.0
        )
        parts["scopes, 1920 x 1080"] = lambda: measure_scopes(hd)
    told = ", ".join(f"{name} {milliseconds(run):.0f}" for name, run in parts.items())
    return f"{path.name} ({facts.width} x {facts.height}, {facts.codec}): {told}"


if __name__ == "__main__":
    for name in sys.argv[1:]:
        sys.stdout.write(report(Path(name)) + "\n")
