"""One clip alone: exposure and white in absolute terms, every method on the same frames."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from bench.levelling.baselines import BASELINES
from bench.levelling.made import camera, drawn_chart, made_cases, made_charts
from bench.levelling.sources import by_name
from bench.levelling.tables import HEAD, Tally
from evenhand.measure import ratios
from evenhand.measure.absolute import GREY_SPREAD
from evenhand.measure.chart import find_chart, patch_differences
from evenhand.measure.views import Features
from evenhand.measure.whites import propose_white

# What a right picture would have: its mean is grey, its brightest white.
LEVELS = {"max-RGB": 1.0}


def answers(frame: Features) -> dict[str, np.ndarray | None]:
    """Gains that each method takes for the clip's own."""
    found: dict[str, np.ndarray | None] = {"nothing": np.zeros(3)}
    for name, estimate in BASELINES.items():
        light = estimate(frame)
        level = LEVELS.get(name, 0.18)
        if name not in LEVELS:  # all but the brightest take the mean for the level
            light = light / max(light.mean(), 1e-9) * BASELINES["grey world"](frame).mean()
        found[name] = ratios.gains_of(np.maximum(light, 1e-6) / level)
    proposal = propose_white([frame])
    white = None
    if proposal is not None:
        white = -ratios.levelling_gains(0.0, proposal.white)
    found["proposal (white alone, never applied)"] = white
    return found


def report(count: int, scenes: int) -> list[str]:
    """One table: statistics by source, then charts and cards."""
    lines = [
        "## One clip alone",
        "",
        "Exposure and white in absolute terms, with no other clip to look at. Answered: of charts "
        "those that were found and taken, of cards those that were not refused as uneven.",
        "",
        HEAD.format("method"),
    ]
    for source, pictures in by_name(scenes).items():
        rng = np.random.default_rng(5)
        tallies: dict[str, Tally] = {}
        for _ in range(count):
            recording = _recording(pictures, rng)
            truth = ratios.gains_of(recording.grey)
            for name, gains in answers(made_cases.seen(recording)).items():
                tallies.setdefault(name, Tally()).add(None if gains is None else gains - truth)
        lines += [f"| *{source}* | | | | | | |", *(t.row(n) for n, t in tallies.items())]
    return lines + _signs(count, scenes) + _false_charts(count)


def _recording(pictures: Sequence[np.ndarray], rng: np.random.Generator) -> camera.Recording:
    view = camera.View(x=rng.uniform(0.4, 0.6), y=rng.uniform(0.4, 0.6), share=0.9)
    picture = view.of(pictures[int(rng.integers(len(pictures)))], made_cases.SIZE, rng)
    return camera.record(picture, camera.random_fault(rng), rng)


def _signs(count: int, scenes: int) -> list[str]:
    """Charts, in even light and with troubles, and grey cards."""
    rng = np.random.default_rng(6)
    pictures = [p for n, g in by_name(scenes).items() for p in g if n != "photographs"]
    rows = []
    patches: list[float] = []
    for name, troubles in (("chart, even light", 0), ("chart, up to two troubles", 2)):
        tally = Tally()
        for _ in range(count):
            case = made_charts.make_chart_case(pictures, rng, troubles)
            tally.add(_by_chart(case, patches if not troubles else []))
        rows.append(tally.row(name))
    tally = Tally()
    for _ in range(count):
        case = made_charts.make_card_case(pictures, rng)
        off = ratios.gains_of(case.light / 0.18) - ratios.gains_of(case.grey)
        tally.add(off if case.spread <= GREY_SPREAD else None)
    rows.append(tally.row("grey card, pointed at"))
    worst = f"{np.mean(patches):.2f} on average, {np.max(patches):.2f} at worst"
    told = f"CIEDE2000 of the 24 patches from the published ones, charts in even light: {worst}."
    return ["| *something of known colour* | | | | | | |", *rows, "", told, ""]


def _by_chart(case: made_charts.ChartCase, patches: list[float]) -> np.ndarray | None:
    to_light = camera.CURVES[case.curve][1]
    reading = find_chart(
        case.recording.signal,
        lambda s: to_light(s.astype(np.float64)),
        case.recording.clip_level,
    )
    if reading is None or not reading.accepted:
        return None
    patches.append(float(patch_differences(reading.light, reading.gains).mean()))
    return reading.gains - ratios.gains_of(case.grey)


def _false_charts(count: int) -> list[str]:
    rng = np.random.default_rng(7)
    wrong = tried = 0
    kinds = ("checks", "tiles", "windows", "swatches", "noise")
    for number in range(4 * count):
        kind = kinds[number % len(kinds)]
        background = number % 2 == 0
        picture = (
            next(drawn_chart.backgrounds(1, rng)) if background else drawn_chart.pattern(kind, rng)
        )
        recording = camera.record(picture, camera.random_fault(rng), rng)
        reading = find_chart(
            recording.signal,
            lambda s: camera.phone_log_light(s.astype(np.float64)),
            recording.clip_level,
        )
        tried += 1
        wrong += reading is not None and reading.accepted
    return [f"Charts found in frames without one: {wrong} of {tried}.", ""]


cv2.setNumThreads(1)
