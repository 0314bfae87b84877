"""A part of the view in another light: told, and levelled to the larger part."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
import pytest
import simulated_camera as camera

from evenhand.measure.decisions import Link, Place
from evenhand.measure.levelling import level_place
from evenhand.measure.matching import confidence, match
from evenhand.measure.reference import BY_HAND
from evenhand.measure.twolights import two_lights
from evenhand.measure.views import Features
from evenhand.reasons import because

SIZE = (640, 360)
Seen = Callable[..., Features]
Scene = Callable[[int], np.ndarray]


def lamp_on(picture: np.ndarray, share: float, light: camera.Fault) -> np.ndarray:
    """Another light on the right-hand part of a picture."""
    x = np.arange(picture.shape[1]) / picture.shape[1]
    inside = (1 / (1 + np.exp(-(x - (1 - share)) / 0.01)))[None, :, None]
    other = np.maximum(cv2.transform(picture, light.matrix().astype(np.float32)), 0)
    return (picture * (1 - inside) + other * inside).astype(np.float32)


@pytest.mark.slow
@pytest.mark.parametrize("seed", [0, 1, 3])
@pytest.mark.parametrize("light", [camera.Fault(-0.6, 40), camera.Fault(0.25, -20)])
def test_the_larger_light_is_matched_and_the_other_told(
    seed: int, light: camera.Fault, scene: Scene, seen: Seen
) -> None:
    """A lamp on a third of the view: its strength is found, the rest is matched as if alone."""
    rng = np.random.default_rng(seed)
    first, second = (v.of(scene(seed), SIZE, rng) for v in camera.views_of("same", rng))
    fault = camera.Fault(0.5, 15, 0.003)
    a = camera.record(first, camera.Fault(), rng)
    b = camera.record(lamp_on(second, 0.35, light), fault, rng)
    plain = match(seen(a), seen(camera.record(second, fault, rng)))
    found = match(seen(a), seen(b))

    assert plain.second is None
    assert found.accepted
    assert found.second is not None
    assert found.second.stops == pytest.approx(light.stops, abs=0.05)
    assert found.second.mired == pytest.approx(light.mired, abs=6.0)
    assert 0.2 < found.second_share < 0.5
    assert found.stops == pytest.approx(plain.stops, abs=0.02)
    assert found.mired == pytest.approx(plain.mired, abs=2.0)
    lights = because(
        "match.two-lights",
        share=found.second_share,
        stops=found.second.stops,
        mired=found.second.mired,
    )
    assert lights in found.why
    assert confidence(found) < min(0.91, confidence(plain))


def test_a_levelled_clip_says_that_it_has_two_lights(scene: Scene, seen: Seen) -> None:
    """The decision is made by the larger light, and its reasons hold how the other differs."""
    rng = np.random.default_rng(4)
    picture = camera.View().of(scene(0), SIZE, rng)
    a, b = (
        camera.record(p, camera.Fault(s), rng)
        for p, s in ((picture, 0.0), (lamp_on(picture, 0.3, camera.Fault(0.8, 60)), -0.4))
    )
    link = Link("a", "b", match(seen(a), seen(b)))
    place = Place("room", ("a", "b"), "a", BY_HAND, ())
    decision = level_place(place, {}, [link])[1]

    assert decision.stops == pytest.approx(0.4, abs=0.02)
    [lights] = [r for r in decision.why if r.code == "match.two-lights"]
    assert lights.facts["stops"] == pytest.approx(0.8, abs=0.05)
    assert decision.confidence < 0.91


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(4))
def test_light_that_is_the_same_twice_is_one(seed: int, scene: Scene, seen: Seen) -> None:
    """A lamp that shines in both clips changes nothing between them."""
    rng = np.random.default_rng(seed)
    lit = lamp_on(scene(seed), 0.4, camera.Fault(-0.7, 60))
    a, b = (
        camera.record(v.of(lit, SIZE, rng), camera.random_fault(rng), rng)
        for v in camera.views_of("reframe", rng)
    )

    assert match(seen(a), seen(b)).second is None


def field(value: Callable[[np.ndarray, np.ndarray], np.ndarray]) -> tuple[np.ndarray, ...]:
    """Samples on 8 × 8 parts: stops left (n, 3), logs of both views (n, 2) and the part."""
    rng = np.random.default_rng(0)
    y, x = (v.ravel() for v in np.mgrid[0:80, 0:80])
    cell = (y // 10) * 8 + x // 10
    detail = rng.normal(0, 0.5, len(cell))
    stops = value(x / 80, y / 80)
    left = np.repeat(stops[:, None], 3, axis=1) + rng.normal(0, 0.03, (len(cell), 3))
    return left, np.stack([detail, detail + stops], axis=1), cell


def test_halves_are_two_lights_and_a_slope_is_one() -> None:
    """0.4 stop between halves is told apart from 0.4 stop from end to end, and from noise."""
    halves = two_lights(*field(lambda x, y: np.where(x > 0.6, -0.4, 0.0)), 8)

    assert halves is not None
    assert halves.share == pytest.approx(0.4, abs=0.04)
    assert halves.difference.stops == pytest.approx(-0.4, abs=0.02)
    assert halves.larger.mean() == pytest.approx(0.6, abs=0.04)
    assert two_lights(*field(lambda x, y: -0.4 * x), 8) is None
    assert two_lights(*field(lambda x, y: np.zeros_like(x)), 8) is None


def test_scattered_parts_and_other_things_are_no_light() -> None:
    """Parts here and there are things; a part whose detail differs shows something else."""
    rng = np.random.default_rng(1)
    odd = rng.random(64) < 0.3
    scattered = field(
        lambda x, y: np.where(odd[(y * 8).astype(int) * 8 + (x * 8).astype(int)], -0.4, 0.0)
    )
    left, logs, cell = field(lambda x, y: np.where(x > 0.6, -0.4, 0.0))
    logs = logs.copy()
    moved = left[:, 0] < -0.2
    logs[moved, 1] = rng.normal(0, 0.5, int(moved.sum()))

    assert two_lights(*scattered, 8) is None
    assert two_lights(left, logs, cell, 8) is None
