"""Mains flicker: found with its strength, taken out, and refused where it cannot be known."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
import pytest
from simulated_camera import Fault, View, record
from simulated_clips import ENCODINGS, SMALL

from evenhand.grade.document import Ripple
from evenhand.grade.steadying import ripple_stops, row_fractions
from evenhand.measure.steady.flicker import find_flicker, lag_for, visible
from evenhand.measure.steady.framesteps import SmallFrame, small_frame

Scenes = Callable[[int], np.ndarray]
HEIGHT = 144
ROWS = row_fractions(90)


def light(hertz: float, exposure: float, depth: float, seconds: np.ndarray) -> np.ndarray:
    """Stops of each row of each frame: a raised-cosine lamp through a shutter, read in 16 ms.

    An exposure of T seconds averages the lamp, which leaves depth · |sin πfT / πfT|.
    """
    amplitude = depth * abs(np.sinc(hertz * exposure))
    rows = (np.arange(HEIGHT) + 0.5) / HEIGHT
    phase = 2 * np.pi * hertz * (seconds[:, None] + 0.016 * rows) + 0.7
    return np.log2(1 + amplitude * np.cos(phase))


def filmed(
    scene: np.ndarray,
    seconds: np.ndarray,
    stops: np.ndarray,
    curve: str = "phone-log",
    tilt: float = 0.0,
    drift: float = 0.0,
) -> list[SmallFrame]:
    """A hand-held pan under that light; `tilt` moves it up and down, `drift` pumps exposure."""
    rng = np.random.default_rng(1)
    frames = []
    for t, lit in zip(seconds, stops, strict=True):
        view = View(x=0.45 + 0.03 * t, y=0.5 + tilt * np.sin(3 * t), share=0.62)
        picture = view.of(scene, (256, HEIGHT), rng) * np.exp2(lit)[:, None, None]
        fault = Fault(drift * float(np.sin(2 * t)))
        recording = record(picture.astype(np.float32), fault, rng, curve)
        small = cv2.resize(recording.signal, SMALL, interpolation=cv2.INTER_AREA)
        frames.append(small_frame(small, ENCODINGS[curve], recording.clip_level, float(t)))
    return frames


def share_left(ripple: Ripple, seconds: np.ndarray, stops: np.ndarray) -> float:
    """Of the ripple's standard deviation over all rows and frames."""
    rows = row_fractions(HEIGHT)
    gone = np.array([ripple_stops(ripple, float(t), rows) for t in seconds])
    return float(np.std(stops - gone) / np.std(stops))


SLOW_CASES = {
    "30 fps, 100 Hz, 1/60 s": (30, 100, 1 / 60, 0.3, {}),
    "30 fps, 100 Hz, 1/200 s": (30, 100, 1 / 200, 0.3, {}),
    "60 fps, 100 Hz, 1/200 s": (60, 100, 1 / 200, 0.3, {}),
    "25 fps, 120 Hz, 1/200 s": (25, 120, 1 / 200, 0.3, {}),
    "30 fps, 1/1000 s": (30, 100, 1 / 1000, 0.1, {}),
    "29.97 fps, off the grid": (30000 / 1001, 100.12, 1 / 200, 0.3, {}),
    "HLG": (30, 100, 1 / 200, 0.3, {"curve": "hlg"}),
    "SDR": (30, 100, 1 / 200, 0.2, {"curve": "bt709"}),
    "pumping": (30, 100, 1 / 200, 0.3, {"drift": 0.3}),
}
CASES = {
    "24 fps, 100 Hz, 1/200 s": (24, 100, 1 / 200, 0.3, {}),
    "faint": (30, 100, 1 / 200, 0.02, {}),
    "tilting": (30, 100, 1 / 200, 0.3, {"tilt": 0.05}),
}


@pytest.mark.parametrize(
    "name", [*CASES, *(pytest.param(name, marks=pytest.mark.slow) for name in SLOW_CASES)]
)
def test_flicker_is_taken_out(scene: Scenes, name: str) -> None:
    """What is left of it, against the light that was put in: at most 7 %; and it is foretold."""
    fps, hertz, exposure, depth, more = (CASES | SLOW_CASES)[name]
    seconds = np.arange(28) / fps
    stops = light(hertz, exposure, depth, seconds)

    found, ripple = find_flicker([filmed(scene(3), seconds, stops, **more)], ROWS)

    assert found.status == "levelled"
    assert ripple is not None
    left = share_left(ripple, seconds, stops)
    assert left <= 0.07
    assert found.left == pytest.approx(left, abs=0.03)
    assert found.strength == pytest.approx(np.sqrt(2) * np.std(stops), rel=0.07)
    assert found.hertz == pytest.approx(hertz, abs=0.1)
    assert abs(found.readout) == pytest.approx(16, abs=0.7)


@pytest.mark.slow
def test_times_that_vary_are_taken_as_they_are(scene: Scenes) -> None:
    """Frames that come as they like still fit, by their own times; by a steady rate they do not."""
    rng = np.random.default_rng(4)
    seconds = np.cumsum(rng.choice([0.0299, 0.0333, 0.0417, 0.0667], 28))
    stops = light(120, 1 / 200, 0.3, seconds)
    frames = filmed(scene(3), seconds, stops)

    _, ripple = find_flicker([frames], ROWS)
    even = [SmallFrame(f.logs, f.valid, f.floor, n / 27.0) for n, f in enumerate(frames)]
    wrong, none = find_flicker([even], ROWS)

    assert ripple is not None
    assert share_left(ripple, seconds, stops) <= 0.07
    assert none is None
    assert wrong.status != "levelled"


@pytest.mark.slow
def test_runs_far_apart_are_tied_by_one_frequency(scene: Scenes) -> None:
    """Mains at 49.93 Hz over 12 s: a phase that holds at both ends, from runs 3 s apart."""
    runs = [s + np.arange(28) / 30 for s in (0.0, 3.0, 6.0, 9.0, 12.0)]
    films = [filmed(scene(3), t, light(99.86, 1 / 200, 0.3, t)) for t in runs]

    found, ripple = find_flicker(films, ROWS)

    assert ripple is not None
    assert ripple.hertz == pytest.approx(99.86, abs=0.003)
    for t in runs:
        assert share_left(ripple, t, light(99.86, 1 / 200, 0.3, t)) <= 0.07
    assert found.status == "levelled"


@pytest.mark.slow
def test_a_phase_that_does_not_hold_is_left_in(scene: Scenes) -> None:
    """Runs whose phases belong to no one frequency: found, told, and not taken out."""
    runs = [s + np.arange(28) / 30 for s in (0.0, 3.0, 6.0, 9.0, 12.0)]
    jumps = [0.0, 0.0025, 0.0040, 0.0090, 0.0005]
    films = [
        filmed(scene(3), t, light(100, 1 / 200, 0.3, t + jump))
        for t, jump in zip(runs, jumps, strict=True)
    ]

    found, ripple = find_flicker(films, ROWS)

    assert ripple is None
    assert found.status != "levelled"


@pytest.mark.parametrize(
    ("fps", "hertz", "exposure"),
    [(25, 100, 1 / 200), (30, 120, 1 / 200), (30, 100, 1 / 100), (24, 120, 1 / 250)],
)
def test_what_cannot_be_known_is_refused(
    scene: Scenes, fps: float, hertz: float, exposure: float
) -> None:
    """Bands that stand still, and an exposure that averages whole pulses: nothing is taken out."""
    seconds = np.arange(28) / fps
    stops = light(hertz, exposure, 0.4, seconds)

    found, ripple = find_flicker([filmed(scene(3), seconds, stops)], ROWS)

    assert ripple is None
    assert found.status == "steady"
    assert found.fit < 0.25
    assert {"flicker.hidden", "flicker.blind"} & {reason.code for reason in found.why}


def test_rates_at_which_no_lamp_shows_are_told() -> None:
    """At 20 and 40 frames a second both lamps stand still: 100 = 5 · 20, 120 = 3 · 40."""
    nothing = [SmallFrame(np.zeros((90, 160, 3), np.float32), np.ones((90, 160), bool), 0.004, 0)]

    found, ripple = find_flicker(
        [[SmallFrame(f.logs, f.valid, f.floor, n / 20) for n in range(28) for f in nothing]], ROWS
    )

    assert ripple is None
    assert found.status == "unchanged"
    assert found.why[0].code == "flicker.hidden"
    assert found.why[0].facts["rate"] == pytest.approx(20)
    assert visible(25) == [120.0]
    assert visible(24) == [100.0]
    assert visible(30) == [100.0]
    assert visible(50.0) == [120.0]


def test_a_lag_is_half_a_turn_of_the_bands() -> None:
    """100 Hz shows at 10 Hz at 30 frames a second (half a turn: 1.5 frames), at 4 Hz at 24."""
    assert lag_for(100, 30, 28) in (1, 2)
    assert lag_for(100, 24, 28) == 3
    assert lag_for(100, 33.2, 28) == 14
    assert lag_for(100, 33.2, 12) == 6


def test_steady_light_has_no_flicker(scene: Scenes) -> None:
    """A pan in steady light, a pumping one, few frames, and darkness."""
    seconds = np.arange(28) / 30
    none = np.zeros((28, HEIGHT))
    steady, pumping = (filmed(scene(3), seconds, none, drift=d) for d in (0.0, 0.4))
    dark = filmed(scene(3) * 0.001, seconds, none)

    assert find_flicker([steady], ROWS)[0].status == "steady"
    assert find_flicker([pumping], ROWS)[0].status == "steady"
    assert find_flicker([steady[:8]], ROWS)[0].status == "unchanged"
    assert find_flicker([dark], ROWS)[0].status == "unchanged"
    assert find_flicker([], ROWS)[1] is None


def test_light_that_is_too_strong_is_no_mains(scene: Scenes) -> None:
    """A ripple of more than half a stop is told and left."""
    seconds = np.arange(28) / 30
    stops = light(100, 1 / 2000, 0.6, seconds)

    found, ripple = find_flicker([filmed(scene(3), seconds, stops)], ROWS)

    assert ripple is None
    assert found.status == "unchanged"
    assert found.strength > 0.5
