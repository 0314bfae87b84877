"""How exactly clips are matched: errors by framing, acceptance and time, as a table.

    python bench/levelling.py [--rounds 3] [--write]

Scenes made by program, and the real photographs where they lie beside the repository, go through a
simulated camera with known faults of exposure (0.6 stop, 1 sd), white (20 mired) and Duv (0.005).
With --write the table goes to bench/levelling-results.md.
"""

from __future__ import annotations

import argparse
import sys
import time
from dataclasses import dataclass, field
from itertools import combinations
from pathlib import Path

import cv2
import numpy as np

HERE = Path(__file__).parent
sys.path.append(str(HERE.parent / "tests" / "measure"))

import simulated_camera as camera  # noqa: E402

from evenhand.measure import ratios  # noqa: E402
from evenhand.measure.decisions import Match  # noqa: E402
from evenhand.measure.matching import confidence, match  # noqa: E402
from evenhand.measure.views import AnalysisFrame, Features, features  # noqa: E402

SIZE = (640, 360)
FRAMINGS = ("same", "reframe", "close", "none")


@dataclass
class Tally:
    """What was found for one framing: errors of the accepted pairs, and how many were tried."""

    tried: int = 0
    errors: list[tuple[float, float, float]] = field(default_factory=list)
    sure: list[tuple[float, bool]] = field(default_factory=list)


def main() -> None:
    """Runs the bench and shows its table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--scenes", type=int, default=16)
    parser.add_argument("--write", action="store_true")
    options = parser.parse_args()
    cv2.setNumThreads(1)
    table = "\n".join(report(options.rounds, options.scenes)) + "\n"
    sys.stdout.write(table)
    if options.write:
        (HERE / "levelling-results.md").write_text(table)


def report(rounds: int, scenes: int) -> list[str]:
    """The lines of the table."""
    pictures = [camera.scene(seed) for seed in range(scenes)]
    photographs = [_large(p) for p in camera.photographs().values()]
    lines = [
        "## Levelling",
        "",
        f"{scenes} scenes by program and {len(photographs)} real photographs, {rounds} rounds, "
        "640×360, one thread. Median / 90 % / worst of accepted pairs.",
        "",
        "| framing | pairs | accepted | stop | mired | Duv |",
        "|---|---|---|---|---|---|",
    ]
    seconds: dict[str, list[float]] = {"features of a frame": [], "match of two frames": []}
    sure: list[tuple[float, bool]] = []
    for kind, chosen in (("", pictures), (", photographs", photographs)):
        for framing in FRAMINGS if chosen else ():
            tally = tried(framing, chosen, rounds * (1 if not kind else 3), seconds)
            sure += tally.sure
            lines.append(row(framing + kind, tally))
    lines += ["", unrelated(pictures + photographs), ""]
    lines += [f"Time, median: {k} {np.median(v) * 1e3:.0f} ms." for k, v in seconds.items()]
    lines += ["", promised(sure)]
    return lines


def _large(picture: np.ndarray) -> np.ndarray:
    return cv2.resize(picture, None, fx=1.5, fy=1.5) if len(picture) < 700 else picture


def seen(recording: camera.Recording) -> Features:
    """The features of a recording."""
    return features(AnalysisFrame(recording.signal, recording.light, recording.clip_level, 0.004))


def tried(
    framing: str, pictures: list[np.ndarray], rounds: int, seconds: dict[str, list[float]]
) -> Tally:
    """Matches two views of every picture in a framing."""
    rng = np.random.default_rng(FRAMINGS.index(framing))
    tally = Tally()
    for _ in range(rounds):
        for n, picture in enumerate(pictures):
            first, second = (v.of(picture, SIZE, rng) for v in camera.views_of(framing, rng))
            other = pictures[(n + 1) % len(pictures)]
            second = camera.stand_in_front(second, other, float(rng.choice([0, 0.08, 0.2])), rng)
            a, b = (camera.record(p, camera.random_fault(rng), rng) for p in (first, second))
            start = time.perf_counter()
            views = seen(a), seen(b)
            middle = time.perf_counter()
            found = match(*views)
            seconds["match of two frames"].append(time.perf_counter() - middle)
            seconds["features of a frame"].append((middle - start) / 2)
            tally.tried += 1
            if found.accepted:
                error = left_over(found, a, b)
                tally.errors.append(error)
                tally.sure.append((confidence(found), error[0] <= 0.03 and error[1] <= 3.0))
    return tally


def left_over(found: Match, a: camera.Recording, b: camera.Recording) -> tuple[float, float, float]:
    """Stops, mired and Duv by which b's neutral misses a's once the match is undone."""
    undone = ratios.matrix_of(-np.array(found.gains)) @ (b.matrix @ np.ones(3))
    left = ratios.difference_of(ratios.gains_of(undone / (a.matrix @ np.ones(3))))
    return abs(left.stops), abs(left.mired), abs(left.duv)


def row(name: str, tally: Tally) -> str:
    """One line of the table."""
    share = f"{len(tally.errors) / max(tally.tried, 1):.1%}"
    if not tally.errors:
        return f"| {name} | {tally.tried} | {share} | – | – | – |"
    cells = []
    for values, form in zip(np.array(tally.errors).T, ("{:.4f}", "{:.2f}", "{:.5f}"), strict=True):
        three = (np.median(values), np.quantile(values, 0.9), values.max())
        cells.append(" / ".join(form.format(v) for v in three))
    return f"| {name} | {tally.tried} | {share} | {' | '.join(cells)} |"


def unrelated(pictures: list[np.ndarray]) -> str:
    """How many pairs of different pictures are taken for one view: none should be."""
    rng = np.random.default_rng(99)
    views = []
    for picture in pictures:
        for x in (0.25, 0.75):
            view = camera.View(x=x, share=0.5).of(picture, SIZE, rng)
            views.append(seen(camera.record(view, camera.random_fault(rng), rng)))
    pairs = list(combinations(views, 2))
    wrong = sum(match(a, b).accepted for a, b in pairs)
    return f"Unrelated views taken for one: {wrong} of {len(pairs)} pairs."


def promised(sure: list[tuple[float, bool]]) -> str:
    """Whether the confidence keeps what it promises."""
    if not sure:
        return ""
    said = np.mean([c for c, _ in sure])
    kept = np.mean([k for _, k in sure])
    return (
        f"Confidence (probability of ending within 0.03 stop and 3 mired): {said:.1%} promised on "
        f"average, {kept:.1%} kept, over {len(sure)} accepted pairs."
    )


if __name__ == "__main__":
    main()
