"""Pairs of recordings of one scene with known faults, from easy to hopeless.

Each case draws its own troubles: noise, people in front, haze, vignetting, light that moved, a
developed picture, filters unlike the observer's, parallax, blur. What the two cameras make of an
18 % grey card is the truth, whatever the troubles do.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import msgspec
import numpy as np
import simulated_camera as camera

from evenhand.measure import ratios
from evenhand.measure.decisions import Difference, LevelDecision, Match
from evenhand.measure.views import AnalysisFrame, Features, features

SIZE = (640, 360)
FLOOR = 0.004
RIGHT_STOPS, RIGHT_MIRED = 0.1, 5.0
FRAMINGS = ("same", "reframe", "close")
TROUBLES = (
    "noise", "people", "flare", "vignette", "moved light", "developed", "filters", "parallax",
    "blur", "wide fault", "second light",
)  # fmt: skip


@dataclass(frozen=True)
class Case:
    """Two recordings of one scene, and what was done to them."""

    framing: str
    curves: tuple[str, str]
    troubles: tuple[str, ...]
    a: camera.Recording
    b: camera.Recording


def seen(recording: camera.Recording, time: float = 0.0) -> Features:
    """The features of a recording."""
    return features(
        AnalysisFrame(recording.signal, recording.light, recording.clip_level, FLOOR, time)
    )


def make_case(
    pictures: Sequence[np.ndarray],
    rng: np.random.Generator,
    most_troubles: int = 3,
    framing: str | None = None,
) -> Case:
    """Two views of one of the pictures; people in front of it are cut from the others."""
    chosen = int(rng.integers(len(pictures)))
    framing = framing or str(rng.choice(FRAMINGS))
    drawn = rng.choice(TROUBLES, int(rng.integers(0, most_troubles + 1)), replace=False)
    troubles = tuple(sorted(str(t) for t in drawn))
    views = [v.of(pictures[chosen], SIZE, rng) for v in camera.views_of(framing, rng)]
    if "parallax" in troubles:
        views[1] = with_parallax(views[1], float(rng.uniform(2, 14)), rng)
    if "moved light" in troubles:
        views[1] = in_other_light(views[1], float(rng.uniform(0.05, 0.3)), rng)
    if "second light" in troubles:
        views[1] = with_second_light(views[1], float(rng.uniform(0.15, 0.4)), rng)
    if "vignette" in troubles:
        views = [vignetted(v, float(rng.uniform(0, 0.5))) for v in views]
    if "people" in troubles:
        other = pictures[(chosen + 1) % len(pictures)]
        views[1] = camera.stand_in_front(views[1], other, float(rng.uniform(0.05, 0.45)), rng)
    if "blur" in troubles:
        views[1] = cv2.GaussianBlur(views[1], (0, 0), float(rng.uniform(0.7, 3.0)))
    first = sensor_with(troubles, rng)
    sensors = (first, first if rng.random() < 0.5 else sensor_with(troubles, rng))
    curves = [curve_for(rng, s) for s in sensors]
    a, b = (
        camera.record(view, _fault(troubles, rng), rng, curve, sensor)
        for view, curve, sensor in zip(views, curves, sensors, strict=True)
    )
    return Case(framing, (curves[0], curves[1]), troubles, a, b)


def _fault(troubles: tuple[str, ...], rng: np.random.Generator) -> camera.Fault:
    if "wide fault" not in troubles:
        return camera.random_fault(rng)
    kelvin = float(rng.uniform(2800, 9000))
    return camera.Fault(
        float(rng.uniform(-2, 2)), 1e6 / kelvin - camera.D65_MIRED, float(rng.uniform(-0.02, 0.02))
    )


def sensor_with(troubles: tuple[str, ...], rng: np.random.Generator) -> camera.Sensor:
    """A camera with the troubles among these that are a camera's."""
    mixing = None
    if "filters" in troubles:  # rows sum to one: neutrals stay
        mixing = np.eye(3) + rng.normal(0, 0.03, (3, 3))
        mixing /= mixing.sum(axis=1, keepdims=True)
    return camera.Sensor(
        well=4000.0 * (float(2.0 ** rng.uniform(-5, -1)) if "noise" in troubles else 1.0),
        mixing=mixing,
        flare=float(rng.uniform(0, 0.03)) if "flare" in troubles else 0.0,
        contrast=float(rng.uniform(1.0, 1.5)) if "developed" in troubles else 1.0,
    )


def curve_for(rng: np.random.Generator, sensor: camera.Sensor) -> str:
    """What a camera codes with: one that develops makes a display picture."""
    if sensor.contrast != 1.0:
        return "bt709"
    return str(rng.choice(("phone-log", "phone-log", "hlg", "bt709")))


def with_parallax(picture: np.ndarray, reach: float, rng: np.random.Generator) -> np.ndarray:
    """The picture as from a step aside: places move by up to `reach` pixels, each on its own."""
    h, w = picture.shape[:2]
    coarse = rng.uniform(-reach, reach, (6, 10, 2)).astype(np.float32)
    near = cv2.resize(coarse, (w, h), interpolation=cv2.INTER_CUBIC)
    x, y = np.meshgrid(np.arange(w, dtype=np.float32), np.arange(h, dtype=np.float32))
    return cv2.remap(
        picture, x + near[..., 0], y + 0.3 * near[..., 1], cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REFLECT,
    )  # fmt: skip


def in_other_light(picture: np.ndarray, stops: float, rng: np.random.Generator) -> np.ndarray:
    """Light from another side: so many stops (1 sd) from place to place, none overall."""
    h, w = picture.shape[:2]
    field = cv2.resize(rng.normal(0, stops, (3, 4)).astype(np.float32), (w, h), interpolation=2)
    warm = cv2.resize(rng.normal(0, stops / 4, (3, 4)).astype(np.float32), (w, h), interpolation=2)
    field, warm = field - field.mean(), warm - warm.mean()
    return picture * np.exp2(np.stack([field + warm, field, field - warm], axis=-1))


def with_second_light(picture: np.ndarray, share: float, rng: np.random.Generator) -> np.ndarray:
    """Another light on a part of the picture, right or left of a line that leans."""
    h, w = picture.shape[:2]
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    across = x / w + float(rng.uniform(-0.3, 0.3)) * (y / h - 0.5)
    inside = (across < share) if rng.random() < 0.5 else (across > 1 - share)
    inside = cv2.GaussianBlur(inside.astype(np.float32), (0, 0), float(rng.uniform(1, 12)))
    lamp = camera.Fault(
        float(rng.choice((-1, 1)) * rng.uniform(0.1, 1.0)), float(rng.uniform(-40, 80))
    )
    other = np.maximum(cv2.transform(picture.astype(np.float32), lamp.matrix()), 0)
    return picture * (1 - inside[..., None]) + other * inside[..., None]


def vignetted(picture: np.ndarray, stops: float) -> np.ndarray:
    """Darker by so many stops in the corners, by the square of the distance from the middle."""
    h, w = picture.shape[:2]
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    away = ((x - w / 2) ** 2 + (y - h / 2) ** 2) / ((w / 2) ** 2 + (h / 2) ** 2)
    return picture * np.exp2(-stops * away)[..., None]


def left_over(found: Match, a: camera.Recording, b: camera.Recording) -> tuple[float, float, float]:
    """Stops, mired and Duv by which b's grey card misses a's once the match is undone."""
    undone = ratios.matrix_of(-np.array(found.gains)) @ b.grey
    left = ratios.difference_of(ratios.gains_of(undone / a.grey))
    return left.stops, left.mired, left.duv


def is_right(left: tuple[float, float, float]) -> bool:
    """Whether what is left over is under 0.1 stop and 5 mired."""
    return abs(left[0]) <= RIGHT_STOPS and abs(left[1]) <= RIGHT_MIRED


def second_light_found(found: Match) -> Match:
    """The match as if a second light had been found in a third of the view."""
    other = Difference(stops=-0.5, mired=30.0, duv=0.0)
    return msgspec.structs.replace(found, second=other, second_share=0.33)


def surely(decision: LevelDecision) -> LevelDecision:
    """The decision, said with confidence."""
    return msgspec.structs.replace(decision, confidence=0.9)
