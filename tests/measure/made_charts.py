"""Charts and grey cards in recorded frames with known faults and troubles of their own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import drawn_chart
import made_cases
import numpy as np
import simulated_camera as camera

from evenhand.measure import ratios

TROUBLES = ("noise", "flare", "filters", "developed", "uneven light", "small", "blur")


@dataclass(frozen=True)
class ChartCase:
    """A recorded frame with a chart; grey: what 18 % at the chart is recorded as, over 0.18."""

    curve: str
    troubles: tuple[str, ...]
    recording: camera.Recording
    grey: np.ndarray


def make_chart_case(
    pictures: Sequence[np.ndarray], rng: np.random.Generator, most_troubles: int = 2
) -> ChartCase:
    """A chart in one of the pictures, behind a camera with a fault."""
    drawn = rng.choice(TROUBLES, int(rng.integers(0, most_troubles + 1)), replace=False)
    troubles = tuple(sorted(str(t) for t in drawn))
    share = float(rng.uniform(0.1, 0.2) if "small" in troubles else rng.uniform(0.2, 0.5))
    view = camera.View(
        x=rng.uniform(0.3, 0.7), y=rng.uniform(0.3, 0.7), share=rng.uniform(0.5, 0.97)
    )
    background = view.of(pictures[int(rng.integers(len(pictures)))], drawn_chart.SIZE, rng)
    composite, corners = drawn_chart.with_chart(background, rng, share)
    local = np.ones(3)
    if "uneven light" in troubles:
        field = made_cases.in_other_light(
            np.ones_like(composite), float(rng.uniform(0.05, 0.3)), rng
        ).astype(np.float32)
        composite = composite * field
        mask = np.zeros(field.shape[:2], np.uint8)
        cv2.fillConvexPoly(mask, corners.astype(np.int32), 1)
        local = np.exp2(np.log2(field[mask > 0]).mean(axis=0))
    if "blur" in troubles:
        composite = cv2.GaussianBlur(composite, (0, 0), float(rng.uniform(0.7, 2.0)))
    sensor = made_cases.sensor_with(troubles, rng)
    curve = made_cases.curve_for(rng, sensor)
    fault = camera.random_fault(rng)
    recording = camera.record(composite, fault, rng, curve, sensor)
    grey = (recording.matrix @ local) ** sensor.contrast
    return ChartCase(curve, troubles, recording, grey)


def missed(gains: np.ndarray, grey: np.ndarray) -> tuple[float, float, float]:
    """Stops, mired and Duv by which gains miss what a grey is recorded as."""
    off = ratios.difference_of(np.asarray(gains) - ratios.gains_of(grey))
    return off.stops, off.mired, off.duv


@dataclass(frozen=True)
class CardCase:
    """A grey card in a recorded frame: median light of a sample, its spread, and the truth."""

    light: np.ndarray
    spread: float
    grey: np.ndarray


def make_card_case(pictures: Sequence[np.ndarray], rng: np.random.Generator) -> CardCase:
    """A card of 18 % in one of the pictures, with uneven light on it, sampled off its middle."""
    view = camera.View(x=rng.uniform(0.3, 0.7), y=rng.uniform(0.3, 0.7), share=0.8)
    picture = view.of(pictures[int(rng.integers(len(pictures)))], made_cases.SIZE, rng).copy()
    x, y = int(rng.uniform(120, 480)), int(rng.uniform(100, 230))
    picture[y : y + 48, x : x + 64] = 0.18
    uneven = float(rng.uniform(0, 0.15))
    field = made_cases.in_other_light(np.ones_like(picture), uneven, rng).astype(np.float32)
    local = np.exp2(np.log2(field[y : y + 48, x : x + 64]).mean(axis=(0, 1)))
    sensor = made_cases.sensor_with(("noise",) if rng.random() < 0.3 else (), rng)
    curve = made_cases.curve_for(rng, sensor)
    recording = camera.record(picture * field, camera.random_fault(rng), rng, curve, sensor)
    u, v = x + int(rng.uniform(8, 44)), y + int(rng.uniform(8, 28))
    box = recording.light[v : v + 12, u : u + 12].reshape(-1, 3)
    green = np.log2(np.maximum(box[:, 1], 1e-5))
    spread = 1.4826 * float(np.median(np.abs(green - np.median(green))))
    return CardCase(np.median(box, axis=0), spread, recording.matrix @ local)
