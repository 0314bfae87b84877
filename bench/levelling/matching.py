"""Matching a clip to a reference: every method on the same pairs, in one table a source."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from bench.levelling import spectral
from bench.levelling.baselines import BASELINES
from bench.levelling.made import camera, made_cases
from bench.levelling.sources import by_name
from bench.levelling.tables import HEAD, Tally
from evenhand.measure import ratios
from evenhand.measure.colours import (
    brightness_shift,
    colour_histogram,
    colour_likeness,
    tone_deciles,
)
from evenhand.measure.decisions import Match
from evenhand.measure.matching import match, remeasure
from evenhand.measure.views import Features

FRAMINGS = ("same", "reframe", "close", "none")
CURVES = ("phone-log", "hlg", "bt709")
Pair = tuple[camera.Recording, camera.Recording]
# Gains of b over a by each method, or None where it gives no answer.
Answers = dict[str, np.ndarray | None]


def answers(a: Features, b: Features) -> Answers:
    """What every method says of a pair of frames."""
    found: Answers = {"nothing": np.zeros(3)}
    for name, estimate in BASELINES.items():
        found[name] = ratios.gains_of(estimate(b) / np.maximum(estimate(a), 1e-6))
    found["spread of colours, deciles of light"] = _by_colours(a, b)
    for name, flow in (("key points, one plane", False), ("key points, flow", True)):
        one = remeasure(a, b, Match(False, (), flow=flow))
        found[name] = np.array(one.gains) if one is not None and one.accepted else None
    both = match(a, b)
    found["evenhand"] = np.array(both.gains) if both.accepted else None
    return found


def _by_colours(a: Features, b: Features) -> np.ndarray | None:
    first, second = colour_histogram([a]), colour_histogram([b])
    if first is None or second is None:
        return None
    gains = ratios.gains_of(np.exp2(np.array(colour_likeness(first, second).log_ratio)))
    brighter = brightness_shift(tone_deciles([a]), tone_deciles([b]))
    return gains - ratios.stops_of(gains) + brighter


def usual(
    pictures: Sequence[np.ndarray], framing: str, rng: np.random.Generator, full: bool = False
) -> Pair:
    """Two recordings with the faults of hand-held phones, or with faults of the whole range."""
    chosen = int(rng.integers(len(pictures)))
    views = [v.of(pictures[chosen], made_cases.SIZE, rng) for v in camera.views_of(framing, rng)]
    other = pictures[(chosen + 1) % len(pictures)]
    views[1] = camera.stand_in_front(views[1], other, float(rng.choice([0, 0.08, 0.2])), rng)
    fault = whole_range if full else camera.random_fault
    a, b = (camera.record(v, fault(rng), rng, str(rng.choice(CURVES))) for v in views)
    return a, b


def whole_range(rng: np.random.Generator) -> camera.Fault:
    """±2 stops, 2800 to 9000 K, ±0.02 Duv."""
    kelvin = float(rng.uniform(2800, 9000))
    stops, duv = float(rng.uniform(-2, 2)), float(rng.uniform(-0.02, 0.02))
    return camera.Fault(stops, 1e6 / kelvin - camera.D65_MIRED, duv)


def two_lights_named(framing: str, rng: np.random.Generator) -> Pair:
    """One spectral scene under two named lights."""
    seed = int(rng.integers(6))
    lights = [str(x) for x in rng.choice(spectral.LIGHTS, 2, replace=False)]
    views = camera.views_of(framing, rng)
    pictures = [
        v.of(spectral.scene(seed, x), made_cases.SIZE, rng)
        for v, x in zip(views, lights, strict=True)
    ]
    a, b = (
        spectral.recorded(p, x, float(rng.normal(0, 0.5)), rng, str(rng.choice(CURVES[:2])))
        for p, x in zip(pictures, lights, strict=True)
    )
    return a, b


def tallied(make: Callable[[], Pair], count: int) -> dict[str, Tally]:
    """Every method on so many pairs."""
    tallies: dict[str, Tally] = {}
    for _ in range(count):
        a, b = make()
        for name, gains in answers(made_cases.seen(a), made_cases.seen(b)).items():
            left = None
            if gains is not None:
                left = ratios.gains_of(ratios.matrix_of(-gains) @ b.grey / a.grey)
            tallies.setdefault(name, Tally()).add(left)
    return tallies


def report(count: int, scenes: int) -> list[str]:
    """All methods by framing over all sources, then evenhand by source."""
    lines = [
        "## Matching to a reference",
        "",
        "Each method on the same pairs; faults of hand-held phones (0.6 stop, 20 mired, Duv 0.005, "
        "one standard deviation) but in the last two groups; phone log, HLG and display coding "
        "mixed, 10-bit 4:2:0; people in front of a fifth of the picture at most.",
        "",
        HEAD.format("method"),
    ]
    sources = by_name(scenes)
    own = []
    for framing in FRAMINGS:
        pooled: dict[str, Tally] = {}
        for source, pictures in sources.items():
            rng = np.random.default_rng([1, FRAMINGS.index(framing)])
            found = tallied(lambda p=pictures, f=framing, r=rng: usual(p, f, r), count)
            own.append(found["evenhand"].row(f"{source}, {framing}"))
            for name, tally in found.items():
                pooled.setdefault(name, Tally()).extend(tally)
        lines += _rows(framing, pooled)
    rng = np.random.default_rng(2)
    pictures = [p for group in sources.values() for p in group]
    found = tallied(lambda: usual(pictures, "reframe", rng, full=True), count)
    lines += _rows("reframe, ±2 stops, 2800 to 9000 K, Duv ±0.02 in both", found)
    found = tallied(lambda: two_lights_named("reframe", rng), count)
    lines += _rows("reframe, one spectral scene under two named lights", found)
    return [*lines, "", HEAD.format("evenhand by source"), *own, ""]


def _rows(title: str, tallies: dict[str, Tally]) -> list[str]:
    rows = [t.row(f"**{n}**" if n == "evenhand" else n) for n, t in tallies.items()]
    return [f"| *{title}* | | | | | | |", *rows]
