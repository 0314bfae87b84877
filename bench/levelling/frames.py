"""How many frames of a clip are needed: error and acceptance against the number sampled."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from bench.levelling.made import camera, made_cases
from bench.levelling.sources import by_name
from evenhand.measure import ratios
from evenhand.measure.matching import match_clips
from evenhand.measure.views import Features

COUNTS = (1, 2, 3, 5, 7, 9)


def shares(count: int) -> tuple[float, ...]:
    """Where in a clip so many frames are taken: evenly, 10 % to 90 %; one is the middle."""
    if count == 1:
        return (0.5,)
    return tuple(float(x) for x in np.linspace(0.1, 0.9, count))


def report(pairs: int, scenes: int) -> list[str]:
    """Clips that pan, with somebody walking through and a hand's shake, by frames sampled."""
    rng = np.random.default_rng(31)
    pictures = [p for g in by_name(scenes).values() for p in g]
    rows: dict[int, list[tuple[bool, float, float, float]]] = {n: [] for n in COUNTS}
    for number in range(pairs):
        clips = [Clip(pictures, number, rng) for _ in range(2)]
        kept: list[dict[float, Features]] = [{}, {}]
        for count in COUNTS:
            views = [_views(c, k, count) for c, k in zip(clips, kept, strict=True)]
            start = time.process_time()
            found = match_clips(*views)
            took = time.process_time() - start
            left = ratios.gains_of(
                ratios.matrix_of(-np.array(found.gains)) @ clips[1].grey / clips[0].grey
            )
            off = ratios.difference_of(left)
            rows[count].append((found.accepted, abs(off.stops), abs(off.mired), took))
    lines = [
        "## How many frames a clip",
        "",
        f"{pairs} pairs of clips of one place, each panning its own way over a part of it, with "
        "somebody walking through and an exposure that pumps by up to 0.2 stop: the clip's mean is "
        "the truth. Median / 90 % / worst of those answered; processor time of one thread.",
        "",
        "| frames | answered | stop | mired | matching a pair, ms |",
        "|---|---|---|---|---|",
    ]
    lines += [_row(count, found) for count, found in rows.items()]
    return [*lines, ""]


def _row(count: int, found: Sequence[tuple[bool, float, float, float]]) -> str:
    good = np.array([f[1:] for f in found if f[0]]).reshape(-1, 3)
    share = f"{len(good) / len(found):.0%}"
    cells = []
    for values, form in ((good[:, 0], "{:.3f}"), (good[:, 1], "{:.1f}")):
        three = (np.median(values), np.quantile(values, 0.9), values.max())
        cells.append(" / ".join(form.format(v) for v in three))
    took = 1e3 * float(np.median([f[3] for f in found]))
    return f"| {count} | {share} | {' | '.join(cells)} | {took:.0f} |"


class Clip:
    """A clip of a place that is recorded frame by frame where it is looked at."""

    def __init__(self, pictures: Sequence[np.ndarray], place: int, rng: np.random.Generator):
        self.picture = pictures[place % len(pictures)]
        self.walker = pictures[(place + 1) % len(pictures)]
        self.ends = rng.uniform(0.2, 0.8, 2)
        self.share = float(rng.uniform(0.3, 0.55))
        self.pump = float(rng.uniform(0, 0.2)), float(rng.uniform(0, 2 * np.pi))
        self.fault = camera.random_fault(rng)
        self.size = float(rng.choice([0.0, 0.08, 0.2]))
        self.curve = str(rng.choice(("phone-log", "hlg")))
        self.seed = int(rng.integers(1 << 30))
        mean = np.exp2(np.mean([self.pumped(s) for s in np.linspace(0.1, 0.9, 81)]))
        self.grey = self.fault.matrix() @ np.ones(3) * mean

    def pumped(self, share: float) -> float:
        """Stops by which the exposure is off at a share of the clip's length."""
        return self.pump[0] * float(np.sin(9.0 * share + self.pump[1]))

    def at(self, share: float) -> Features:
        """The frame at a share of the clip's length."""
        rng = np.random.default_rng([self.seed, round(1000 * share)])
        x = self.ends[0] + share * (self.ends[1] - self.ends[0])
        view = camera.View(x=x, y=rng.uniform(0.48, 0.52), share=self.share, skew=0.01)
        seen = view.of(self.picture, made_cases.SIZE, rng)
        seen = camera.stand_in_front(seen, self.walker, self.size, rng)
        fault = replace(self.fault, stops=self.fault.stops + self.pumped(share))
        return made_cases.seen(camera.record(seen, fault, rng, self.curve), share)


def _views(clip: Clip, kept: dict[float, Features], count: int) -> list[Features]:
    for share in shares(count):
        if share not in kept:
            kept[share] = clip.at(share)
    return [kept[share] for share in shares(count)]
