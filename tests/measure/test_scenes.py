"""A change of scene is told from a camera that moves on, and grey pictures from others."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import pytest
import simulated_camera as camera

from evenhand.measure.scenes import SceneChange, is_monochrome, scene_change
from evenhand.measure.views import Features

Seen = Callable[..., Features]
Scene = Callable[[int], np.ndarray]
WARM = np.array([1.5, 1.0, 0.35], np.float32)


def clip(pictures: Sequence[np.ndarray], seen: Seen) -> list[Features]:
    """Frames at 1, 2, 3… seconds."""
    rng = np.random.default_rng(0)
    frames = [seen(camera.record(p, camera.Fault(), rng)) for p in pictures]
    return [replace(frame, time=float(n)) for n, frame in enumerate(frames, 1)]


def view(picture: np.ndarray, x: float = 0.5, share: float = 0.6) -> np.ndarray:
    return camera.View(x=x, share=share).of(picture, (640, 360), np.random.default_rng(1))


@pytest.mark.parametrize("cut", [1, 2, 4])
def test_a_cut_is_put_where_it_is(cut: int, scene: Scene, seen: Seen) -> None:
    """Five frames, the first so many of one place and the rest of another, in another light."""
    pictures = [view(scene(0) if n < cut else scene(1) * WARM) for n in range(5)]

    assert scene_change(clip(pictures, seen)) == SceneChange(float(cut), float(cut + 1))


def test_a_pan_is_no_change_of_scene(scene: Scene, seen: Seen) -> None:
    """Each frame shares a part with the next, the first and the last share nothing."""
    pictures = [view(scene(0), x, 0.4) for x in (0.2, 0.35, 0.5, 0.65, 0.8)]

    assert scene_change(clip(pictures, seen)) is None


def test_a_camera_that_leaps_about_is_no_change_of_scene(scene: Scene, seen: Seen) -> None:
    """Five places that share nothing: that may be a walk, and is not told."""
    assert scene_change(clip([view(scene(n)) for n in range(5)], seen)) is None


def test_a_lamp_that_is_switched_on_is_no_change_of_scene(scene: Scene, seen: Seen) -> None:
    """The camera leaps and the light turns warm, but the last frame sees the first part again."""
    places = [(0.2, 1.0), (0.3, 1.0), (0.75, WARM), (0.6, WARM), (0.42, WARM)]
    pictures = [np.asarray(view(scene(0), x, 0.35) * light, np.float32) for x, light in places]

    assert scene_change(clip(pictures, seen)) is None


def test_no_picture_no_change() -> None:
    """Two frames or none cannot change scene."""
    assert scene_change([]) is None


def test_colour_is_told_from_none(scene: Scene, seen: Seen) -> None:
    """A grey scene is monochrome, one with a fifth of its colour is not."""
    grey = view(scene(2)).mean(axis=-1, keepdims=True).repeat(3, axis=-1)
    rng = np.random.default_rng(0)
    quiet = camera.Sensor(well=1e6)
    records = [
        camera.record(p.astype(np.float32), camera.Fault(), rng, sensor=quiet)
        for p in (grey, 0.8 * grey + 0.2 * view(scene(2)))
    ]
    for made in records:  # a camera without colour writes grey chroma
        luma = made.signal.mean(axis=-1, keepdims=True)
        if made is records[0]:
            made.signal[:] = luma
            made.light[:] = made.light.mean(axis=-1, keepdims=True)

    assert is_monochrome([seen(records[0])])
    assert not is_monochrome([seen(records[1])])
    assert not is_monochrome([])
