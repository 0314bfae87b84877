"""Mixed light is seen where greys lie in two heaps, and not where one light falls on colours."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
import pytest
import simulated_camera as camera

from evenhand.measure.mixedlight import mixed_light
from evenhand.measure.views import Features

Seen = Callable[..., Features]
Scene = Callable[[int], np.ndarray]


def greyish(picture: np.ndarray) -> np.ndarray:
    """The scene with little of its colour, as walls and streets are."""
    grey = picture.mean(axis=-1, keepdims=True)
    return np.asarray(0.8 * grey + 0.2 * picture, np.float32)


def under(picture: np.ndarray, mired: float) -> np.ndarray:
    """The scene under a light so many mired warmer than D65."""
    return np.asarray(cv2.transform(picture, camera.Fault(0, mired).matrix()), np.float32)


def shown(picture: np.ndarray, seen: Seen) -> Features:
    """A frame of the whole scene, as a camera has it."""
    rng = np.random.default_rng(3)
    return seen(camera.record(camera.View().of(picture, (640, 360), rng), camera.Fault(), rng))


@pytest.mark.parametrize("share", [0.35, 0.65])
def test_a_window_and_a_lamp_are_two_lights(share: float, scene: Scene, seen: Seen) -> None:
    """Daylight on a share of the picture from the left, a lamp 150 mired warmer on the rest."""
    picture = greyish(scene(2))
    left = (np.linspace(0, 1, picture.shape[1]) < share)[None, :, None]
    frame = shown(np.where(left, picture, under(picture, 150)), seen)
    found = mixed_light([frame, frame])

    assert found is not None
    day, lamp = (0, 1) if share > 0.5 else (1, 0)
    assert found.share[day] == pytest.approx(share, abs=0.15)
    assert 1e6 / found.kelvin[day] == pytest.approx(154, abs=30)  # D65
    assert 1e6 / found.kelvin[lamp] - 1e6 / found.kelvin[day] == pytest.approx(150, abs=40)


@pytest.mark.parametrize("mired", [0.0, 90.0])
@pytest.mark.parametrize("number", [0, 1, 2])
def test_one_light_is_one_light(number: int, mired: float, scene: Scene, seen: Seen) -> None:
    """Colours under one light, cool or warm, are not two lights."""
    assert mixed_light([shown(under(scene(number), mired), seen)]) is None


def test_most_frames_have_to_agree(scene: Scene, seen: Seen) -> None:
    """Two lights in one frame of three are told of no clip."""
    picture = greyish(scene(2))
    left = (np.linspace(0, 1, picture.shape[1]) < 0.5)[None, :, None]
    two = shown(np.where(left, picture, under(picture, 150)), seen)
    one = shown(picture, seen)

    assert mixed_light([two, two, one]) is not None
    assert mixed_light([two, one, one]) is None
    assert mixed_light([]) is None


def test_photographs_in_one_light_show_one() -> None:
    """Real photographs, where they are here: none is taken for mixed light."""
    pictures = camera.photographs()
    if not pictures:
        pytest.skip("the photographs are not here")
    from evenhand.measure.views import AnalysisFrame, features

    for name, picture in pictures.items():
        scale = 640 / max(picture.shape[:2])
        small = cv2.resize(picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        made = camera.record(small, camera.Fault(0, 30), np.random.default_rng(1))
        frame = features(AnalysisFrame(made.signal, made.light, made.clip_level, 0.004))
        assert mixed_light([frame]) is None, name
