"""Do no harm: good clips, and how far each method would move them; and views taken for one."""

from __future__ import annotations

from itertools import combinations

import numpy as np

from bench.levelling.baselines import BASELINES
from bench.levelling.made import camera, good_pictures, made_cases
from bench.levelling.sources import by_name
from evenhand.measure import ratios
from evenhand.measure.matching import confidence, match
from evenhand.measure.whites import propose_white

SURE = 0.5


def report(scenes: int, views: int) -> list[str]:
    """A table of good clips, and the count of unrelated frames."""
    lines = [
        "## Do no harm",
        "",
        "Good clips by what they show. First what the statistics would move them by; then a second "
        "take of each, another framing of the same light by the same camera, matched to the first: "
        "what it is moved by, and how sure that is said to be. On their own evenhand moves none.",
        "",
        "| clip | " + " | ".join(BASELINES) + " | proposal | second take: stop, mired | said |",
        "|---|" + "---|" * (len(BASELINES) + 3),
    ]
    false = 0
    for name, picture in pictures().items():
        row, harmed = _row(name, picture)
        lines.append(row)
        false += harmed
    lines += [
        "",
        f"False corrections over 0.1 stop or 5 mired said to be surer than {SURE:.0%}: {false}.",
        "",
        _unrelated(scenes, views),
        "",
    ]
    return lines


def pictures() -> dict[str, np.ndarray]:
    """Good pictures: painted from spectra, then photographs where there are some."""
    found = {name: good_pictures.painted(name) for name in good_pictures.PAINTED}
    beside = {n: p for n, p in camera.photographs().items() if n != "carrots"}
    return found | beside | good_pictures.package_photographs()


def _row(name: str, picture: np.ndarray) -> tuple[str, bool]:
    rng = np.random.default_rng(3)
    first, second = camera.views_of("reframe", rng)
    a, b = (
        camera.record(v.of(picture, made_cases.SIZE, rng), camera.Fault(), rng)
        for v in (first, second)
    )
    views = made_cases.seen(a), made_cases.seen(b)
    moved = []
    for estimate in BASELINES.values():
        light = np.maximum(estimate(views[0]), 1e-6)
        off = ratios.difference_of(ratios.gains_of(light))
        moved.append(f"{abs(off.mired):.0f} mired")
    proposal = propose_white([views[0]])
    found = match(*views)
    harmed = found.accepted and confidence(found) > SURE
    harmed = harmed and (abs(found.stops) > 0.1 or abs(found.mired) > 5)
    told = f"{found.stops:+.3f}, {found.mired:+.1f}" if found.accepted else "none"
    cells = [
        *moved,
        "none" if proposal is None else f"{proposal.white.kelvin:.0f} K",
        told,
        f"{confidence(found):.0%}" if found.accepted else "–",
    ]
    return f"| {name} | {' | '.join(cells)} |", harmed


def _unrelated(scenes: int, views: int) -> str:
    """How many pairs of different places are taken for one view: none should be."""
    rng = np.random.default_rng(99)
    seen = []
    everything = [p for group in by_name(scenes).values() for p in group]
    everything += [good_pictures.painted(n) for n in good_pictures.PAINTED]
    halves = [(p, x) for x in (0.25, 0.75) for p in everything]
    for picture, x in halves[:views]:
        view = camera.View(x=x, share=0.5).of(picture, made_cases.SIZE, rng)
        recording = camera.record(view, camera.random_fault(rng), rng)
        seen.append(made_cases.seen(recording))
    pairs = list(combinations(seen, 2))
    wrong = sum(match(a, b).accepted for a, b in pairs)
    return f"Views of different places taken for one: {wrong} of {len(pairs)} pairs."
