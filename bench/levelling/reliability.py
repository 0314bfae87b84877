"""Whether confidence keeps what it promises: of decisions said to be p sure, how many are right."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from bench.levelling.made import camera, made_cases, made_charts
from bench.levelling.sources import by_name
from evenhand.measure import ratios
from evenhand.measure.absolute import GREY_SPREAD
from evenhand.measure.chart import find_chart
from evenhand.measure.confidence import of_card, of_chart, sureness
from evenhand.measure.decisions import ChartSample, LevelDecision, Link, Place
from evenhand.measure.levelling import level_place
from evenhand.measure.matching import confidence, match

EDGES = (0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0001)
CHAIN = 4


@dataclass(frozen=True)
class Said:
    """One decision: how sure it was said to be, and whether it was right."""

    kind: str
    sure: float
    right: bool


def report(count: int, scenes: int) -> list[str]:
    """The table by tenths, one by kind of decision."""
    said = [*matches(count, scenes), *charts(count, scenes), *cards(count, scenes)]
    said += chains(max(count // 6, 4), scenes)
    lines = [
        "## Confidence",
        "",
        "Made cases with up to two troubles each (noise, people, haze, vignette, light that moved, "
        "a developed picture, other filters, parallax, blur, faults of the whole range, a second "
        "light), none of which the constants were fitted on. Right: within 0.1 stop and 5 mired.",
        "",
        "| said | decisions | said on average | right |",
        "|---|---|---|---|",
    ]
    for low, high in pairwise(EDGES):
        inside = [s for s in said if low <= s.sure < high]
        if inside:
            lines.append(f"| {low:.0%} to {min(high, 1):.0%} | {_cells(inside)} |")
    lines += [
        "",
        "| decision | made | said on average | right | median said of the right |",
        "|---|---|---|---|---|",
    ]
    for kind in dict.fromkeys(s.kind for s in said):
        inside = [s for s in said if s.kind == kind]
        sure = np.median([s.sure for s in inside if s.right] or [0.0])
        lines.append(f"| {kind} | {_cells(inside)} | {sure:.1%} |")
    return [*lines, ""]


def _cells(said: Sequence[Said]) -> str:
    told, kept = np.mean([s.sure for s in said]), np.mean([s.right for s in said])
    return f"{len(said)} | {told:.1%} | {kept:.1%}"


def matches(count: int, scenes: int) -> list[Said]:
    """Pairs of frames, by framing and by whether flow was needed."""
    said = []
    for number, pictures in enumerate(by_name(scenes).values()):
        rng = np.random.default_rng([20, number])
        for _ in range(count):
            case = made_cases.make_case(pictures, rng, most_troubles=2)
            found = match(made_cases.seen(case.a), made_cases.seen(case.b))
            if found.accepted:
                right = made_cases.is_right(made_cases.left_over(found, case.a, case.b))
                kind = f"match, {case.framing}" + (", flow" if found.flow else "")
                said.append(Said(kind, confidence(found), right))
    return sorted(said, key=lambda s: s.kind)


def charts(count: int, scenes: int) -> list[Said]:
    """Charts with up to two troubles."""
    rng = np.random.default_rng(21)
    pictures = [p for n, g in by_name(scenes).items() for p in g if n != "photographs"]
    said = []
    for _ in range(count):
        case = made_charts.make_chart_case(pictures, rng)
        sample = chart_sample(case)
        if sample is not None:
            right = made_cases.is_right(made_charts.missed(np.array(sample.gains), case.grey))
            said.append(Said("chart", sureness(of_chart(sample)), right))
    return said


def chart_sample(case: made_charts.ChartCase) -> ChartSample | None:
    """What levelling is told of a chart in a frame."""
    to_light = camera.CURVES[case.curve][1]
    reading = find_chart(
        case.recording.signal,
        lambda s: to_light(s.astype(np.float64)),
        case.recording.clip_level,
    )
    if reading is None or not reading.accepted:
        return None
    red, green, blue = (float(g) for g in reading.gains)
    return ChartSample(
        clip="a", time=0.0, corners=(), gains=(red, green, blue), patch_difference=0.0, why=(),
        stops_error=reading.stops_error, mired_error=reading.mired_error,
        residual=reading.residual, worst_grey=reading.worst_grey,
    )  # fmt: skip


def cards(count: int, scenes: int) -> list[Said]:
    """Grey cards that were pointed at, in uneven light; how a card is held is not among it."""
    rng = np.random.default_rng(22)
    pictures = [p for g in by_name(scenes).values() for p in g]
    said = []
    for _ in range(count):
        case = made_charts.make_card_case(pictures, rng)
        if case.spread > GREY_SPREAD:
            continue
        missed = made_charts.missed(ratios.gains_of(case.light / 0.18), case.grey)
        said.append(Said("grey card", sureness(of_card(case.spread)), made_cases.is_right(missed)))
    return said


def chains(count: int, scenes: int) -> list[Said]:
    """Places of four clips in a row, each of which shares a view with the next one alone."""
    rng = np.random.default_rng(23)
    pictures = [p for n, g in by_name(scenes).items() for p in g if n != "photographs"]
    said = []
    for _ in range(count):
        picture = pictures[int(rng.integers(len(pictures)))]
        recordings = [_step(picture, n, rng) for n in range(CHAIN)]
        for decision, off in decided(recordings):
            if decision.status == "matched":
                kind = "through other clips" if decision.via else "next to the reference"
                said.append(Said(kind, decision.confidence, made_cases.is_right(off)))
    return said


def _step(picture: np.ndarray, place: int, rng: np.random.Generator) -> camera.Recording:
    view = camera.View(x=0.28 + 0.44 * place / (CHAIN - 1), share=0.5, skew=0.02)
    seen = view.of(picture, made_cases.SIZE, rng)
    if rng.random() < 0.4:
        seen = made_cases.vignetted(seen, float(rng.uniform(0, 0.4)))
    troubles = tuple(t for t in ("noise", "flare", "filters") if rng.random() < 0.2)
    sensor = made_cases.sensor_with(troubles, rng)
    return camera.record(
        seen, camera.random_fault(rng), rng, made_cases.curve_for(rng, sensor), sensor
    )


def decided(
    recordings: Sequence[camera.Recording],
) -> list[tuple[LevelDecision, tuple[float, float, float]]]:
    """Decisions on clips that are linked one by one, and what each is off from the first."""
    names = [f"clip {n}" for n in range(len(recordings))]
    views = [made_cases.seen(r) for r in recordings]
    links = [
        Link(names[n], names[n + 1], match(views[n], views[n + 1]))
        for n in range(len(recordings) - 1)
    ]
    place = Place("row", tuple(names), names[0], (), ())
    found = []
    for decision, recording in zip(level_place(place, {}, links), recordings, strict=True):
        own = ratios.matrix_of(ratios.levelling_gains(decision.stops, decision.white))
        off = ratios.difference_of(ratios.gains_of(own @ recording.grey / recordings[0].grey))
        found.append((decision, (off.stops, off.mired, off.duv)))
    return found
