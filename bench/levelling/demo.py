"""The demo's card, coded and decoded again, levelled and held to its truth."""

from __future__ import annotations

import json
import tempfile
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from bench.levelling.made import made_cases
from evenhand.colourmath.encodings import named, transfer_of
from evenhand.grade.exact import scene_light_image
from evenhand.jobs.charts import CHART_LONGEST, chart_in
from evenhand.measure.decisions import ChartSample
from evenhand.measure.evenness import score
from evenhand.measure.levelling import level_place
from evenhand.measure.places import ClipView, find_links, group, picture_numbers
from evenhand.measure.views import AnalysisFrame, features
from evenhand.media.analysis import small_signals
from evenhand.media.probe import probe
from first_bread.card import make_card

SHARES = (0.1, 0.3, 0.5, 0.7, 0.9)


def report(size: tuple[int, int] = (960, 540)) -> list[str]:
    """What is left of the demo's known faults, clip by clip, with and without its chart."""
    with tempfile.TemporaryDirectory() as folder:
        card = Path(folder) / "card"
        truth: dict[str, Any] = json.loads(make_card(card, size, frames=10, workers=1).read_text())
        clips, charts = read(card, truth)
    by_id = {c.id: c for c in clips}
    links = find_links(clips)
    lines = [
        "## The demo",
        "",
        f"Twelve clips of known faults, coded and decoded again at {size[0]}×{size[1]}. What is "
        "left is against the reference of the place.",
        "",
        "| clip | decision | left: stop, mired, Duv | said | right |",
        "|---|---|---|---|---|",
    ]
    decisions = [d for s in group(clips, links) for d in level_place(s, by_id, links, (), charts)]
    left = {r.clip: r.after for r in score(decisions, truth)}
    for decision in decisions:
        off = left[decision.clip]
        three = (off.stops, off.mired, off.duv)
        sure = f"{decision.confidence:.0%}" if decision.status != "unchanged" else "–"
        right = "yes" if made_cases.is_right(three) else "no"
        told = f"{off.stops:+.3f}, {off.mired:+.1f}, {off.duv:+.4f}"
        right = right if decision.status != "unchanged" else "–"
        lines.append(f"| {decision.clip} | {decision.status} | {told} | {sure} | {right} |")
    for chart in charts:
        lines += ["", _chart_told(chart, truth)]
    return [*lines, ""]


def _chart_told(chart: ChartSample, truth: dict[str, Any]) -> str:
    return (
        f"The chart in {chart.clip}: 24 patches are off by CIEDE2000 "
        f"{chart.patch_difference:.2f} on average once its gains are taken off."
    )


def read(folder: Path, truth: dict[str, Any]) -> tuple[list[ClipView], list[ChartSample]]:
    """Clips of a card as levelling sees them, and the charts in them."""
    clips, charts = [], []
    for order, clip in enumerate(truth["clips"]):
        path, encoding = folder / clip["file"], named(clip["encoding"])
        facts = probe(path)
        top = transfer_of(encoding).to_signal(np.full(3, clip["sensor_clip"])).min()
        level, name = float(min(top, 1.0)), clip["file"].rpartition(".")[0]
        frames = [
            AnalysisFrame(signal, scene_light_image(signal, encoding), level, 0.004, at)
            for at, signal in small_signals(path, facts, encoding, SHARES)
        ]
        large = small_signals(path, facts, encoding, SHARES, CHART_LONGEST)
        chart = chart_in(name, large, encoding, level)
        charts += [chart] if chart is not None else []
        created = datetime.fromisoformat(clip["created"]).timestamp()
        seen = tuple(features(f) for f in frames)
        numbers = picture_numbers(frames, 2.0)
        clips.append(ClipView(name, created, order, encoding, seen, numbers))
    return clips, charts
