"""What changes from one frame to the next: motion, ratio, and who may vote."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
import pytest
from simulated_camera import Fault, View, record
from simulated_clips import ENCODINGS, SMALL, crossing

from evenhand.colourmath.encodings import Encoding, named
from evenhand.grade.steadying import channel_light
from evenhand.measure.steady.framesteps import (
    SmallFrame,
    channel_logs,
    floor_light,
    frame_step,
    motion_between,
    relit,
    row_differences,
    small_frame,
)

Scenes = Callable[[int], np.ndarray]


def seen(
    scene: np.ndarray, view: View, fault: Fault, curve: str = "phone-log", at: float | None = None
) -> SmallFrame:
    """A small frame of a view; `at` puts somebody who crosses the picture there."""
    rng = np.random.default_rng(3)
    picture = view.of(scene, (384, 216), rng)
    if at is not None:
        picture = crossing(picture, at)
    recording = record(picture.astype(np.float32), fault, rng, curve)
    small = cv2.resize(recording.signal, SMALL, interpolation=cv2.INTER_AREA)
    return small_frame(small, ENCODINGS[curve], recording.clip_level, 0.0)


def truth(before: Fault, after: Fault) -> np.ndarray:
    """log2 linear BT.2020 ratio of a neutral, by the camera's own matrices."""
    return np.log2((after.matrix() @ np.ones(3)) / (before.matrix() @ np.ones(3)))


@pytest.mark.parametrize("curve", ["phone-log", "hlg"])
def test_a_step_is_the_change_of_exposure_and_white(scene: Scenes, curve: str) -> None:
    """While the view moves and somebody in red crosses it: 0.01 stop in every channel."""
    before, after = Fault(0.1, 5), Fault(-0.15, -2)
    a = seen(scene(1), View(x=0.45, share=0.62), before, curve, at=0.4)
    b = seen(scene(1), View(x=0.453, y=0.502, share=0.61, roll=0.004), after, curve, at=0.42)

    step = frame_step(a, b)

    assert step.same_scene
    assert step.knows_white
    assert np.abs(step.ratio - truth(before, after)).max() < 0.01


def test_motion_is_found_with_its_turn_and_zoom(scene: Scenes) -> None:
    """Against the matrix that the second picture was made by, to a fifth of a pixel."""
    a = seen(scene(2), View(share=0.6), Fault())
    made = np.array([[1.01, -0.006, 2.3], [0.006, 1.01, -1.4]])
    logs = cv2.warpAffine(a.logs, made, SMALL, borderMode=cv2.BORDER_REPLICATE)
    b = SmallFrame(logs, a.valid, a.floor, 0.0)

    found = motion_between(a, b)

    corners = np.array([[20, 20, 1], [140, 20, 1], [20, 70, 1], [140, 70, 1]], float)
    assert np.abs(corners @ (found - made).T).max() < 0.2


def test_bands_of_light_are_not_taken_for_motion(scene: Scenes) -> None:
    """Bands that move through a still picture leave it still, once rows are brought to one mean."""
    a = seen(scene(3), View(share=0.6), Fault())
    wave = np.arange(90) * 2 * np.pi * 1.6 / 90
    first, second = relit(a, 0.25 * np.cos(wave)), relit(a, 0.25 * np.cos(wave - 2.0))

    still = motion_between(first, second, level_rows=True)

    assert np.abs(still - np.array([[1, 0, 0], [0, 1, 0]])).max() < 0.05


def test_rows_differ_by_what_was_put_on_them(scene: Scenes) -> None:
    """Each row's median tells the stops that were taken off it, though the rows moved."""
    stops = 0.2 * np.cos(np.arange(90) / 9.0)
    a = seen(scene(4), View(y=0.5, share=0.6), Fault())
    b = relit(seen(scene(4), View(y=0.51, share=0.6), Fault()), stops)

    found = row_differences(a, b, motion_between(a, b, level_rows=True))

    enough = found.samples > 40
    assert enough.mean() > 0.8
    assert np.abs(found.stops + stops)[enough].max() < 0.03
    moved = np.arange(90) - found.rows_before
    assert np.median(moved) == pytest.approx(-0.01 * 720 * 90 / (0.6 * 720), abs=0.3)


def test_pictures_of_nothing_in_common_are_no_step(scene: Scenes) -> None:
    """Two scenes, a black and a white picture: said, not measured."""
    a, b = (seen(scene(n), View(share=0.6), Fault()) for n in (5, 6))
    black = seen(scene(5) * 0, View(), Fault())
    white = seen(scene(5) * 0 + 30, View(), Fault())

    assert not frame_step(a, b).same_scene
    assert not frame_step(a, black).same_scene
    assert not frame_step(black, black).same_scene
    assert not frame_step(white, white).same_scene


def test_few_pixels_tell_exposure_and_not_white(scene: Scenes) -> None:
    """A picture that is lit in one corner only knows less."""
    lit = scene(7).copy()
    lit[110:] = 0
    lit[:, 430:] = 0
    a, b = (seen(lit, View(x=0.4, y=0.35, share=0.6), Fault(s)) for s in (0.0, 0.1))

    step = frame_step(a, b)

    assert step.same_scene
    assert not step.knows_white
    assert step.ratio[1] == pytest.approx(0.1, abs=0.02)


@pytest.mark.parametrize("name", ["phone-log-1", "hlg", "pq", "bt709", "logc3", "phone-log-2"])
def test_logs_are_those_of_the_channels_own_light(name: str) -> None:
    """The table agrees with the exact function that steadying undoes, to 0.002 stop."""
    encoding: Encoding = named(name)
    signal = np.linspace(0.2, 1.0, 3001).astype(np.float32).reshape(1, -1, 1).repeat(3, axis=2)

    exact = np.log2(np.maximum(channel_light(signal, encoding), floor_light(encoding) / 4))

    assert np.abs(channel_logs(signal, encoding) - exact).max() < 0.002
