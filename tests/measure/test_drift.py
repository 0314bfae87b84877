"""Exposure pumping and white drift: known curves recovered, and clips that must not be touched."""

from __future__ import annotations

from collections.abc import Callable
from types import SimpleNamespace

import cv2
import numpy as np
import pytest
import simulated_camera as camera
from simulated_camera import Fault, View
from simulated_clips import (
    ENCODINGS,
    Clip,
    automatic,
    coming_near,
    crossing,
    left_over,
    measured,
    panning,
)

from evenhand.grade.document import Steadying
from evenhand.measure.steady.drift import KEY_TOLERANCE, Drift, judge, keys_of

Scenes = Callable[[int], np.ndarray]
LOG = ENCODINGS["phone-log"]


def times(count: int, rate: float = 25.0) -> np.ndarray:
    return np.arange(count) / rate


def constant(count: int) -> list[Fault]:
    return [Fault()] * count


def judged(clip: Clip, every: int = 12) -> tuple[Drift, Steadying | None]:
    return judge(measured(clip.frames(), clip.seconds, ENCODINGS[clip.curve], every))


def worst(clip: Clip) -> tuple[Drift, np.ndarray]:
    """The record, and stops and mired of the worst frame once it is steadied."""
    encoding = ENCODINGS[clip.curve]
    curve = measured(clip.frames(), clip.seconds, encoding)
    record, steadying = judge(curve)
    left = left_over(steadying, clip, encoding, curve.reference)
    return record, np.abs(left).max(axis=0)


# Known curves ---------------------------------------------------------------------------------


@pytest.mark.parametrize("curve", ["phone-log", pytest.param("hlg", marks=pytest.mark.slow)])
def test_pumping_and_drift_are_taken_out(scene: Scenes, curve: str) -> None:
    """Panning, with somebody in red crossing: the worst frame within 0.02 stop and 1 mired."""
    count = 36
    clip = Clip(scene(1), times(count), automatic(count, 5), panning, crossing, curve, seed=5)

    record, left = worst(clip)

    assert record.status == "levelled"
    assert record.range_stops > 0.3
    assert (left <= [0.02, 1.0]).all()


SEQUENCES = ["scene 0", "scene 4", "candle_glass", "carrots", "desk", "mountain", "still_life"]


@pytest.mark.slow
@pytest.mark.parametrize("name", SEQUENCES)
def test_seven_sequences(scene: Scenes, name: str) -> None:
    """75 frames of automatics at work: 0.06 stop and 5 mired; by the scenes made 0.02 and 1."""
    photographs = camera.photographs()
    kind, _, number = name.partition(" ")
    if kind != "scene" and kind not in photographs:
        pytest.skip("the photographs are not on this machine (../shared/photos)")
    picture = scene(int(number)) if number else photographs[kind]
    if len(picture) < 700:
        picture = cv2.resize(picture, None, fx=1.5, fy=1.5)
    clip = Clip(picture, times(75), automatic(75, 7), panning, crossing, seed=7)

    record, left = worst(clip)

    assert record.status == "levelled"
    assert (left <= ([0.02, 1.0] if number else [0.06, 5.0])).all()
    # what the record promises of the worst frame is of the right size
    assert record.residual_stops < 0.06
    assert left[0] < 2 * record.residual_stops


@pytest.mark.slow
def test_frames_do_not_jump_against_each_other(scene: Scenes) -> None:
    """Auto exposure that jumps by 0.1 stop: after it, neighbours agree to 0.003 stop (1 sd)."""
    rng = np.random.default_rng(2)
    faults = [Fault(float(s)) for s in rng.normal(0, 0.1, 50)]
    clip = Clip(scene(2), times(50), faults, panning, crossing)
    curve = measured(clip.frames(), clip.seconds, LOG)
    _, steadying = judge(curve)

    left = left_over(steadying, clip, LOG, curve.reference)

    assert np.std(np.diff(left[:, 0])) < 0.003


@pytest.mark.slow
def test_a_monochrome_clip_is_steadied_too(scene: Scenes) -> None:
    """No colour in the picture: exposure is taken out just the same."""
    grey = scene(9).mean(axis=-1, keepdims=True).repeat(3, axis=2)
    clip = Clip(grey, times(50), automatic(50, 3), panning)

    record, left = worst(clip)

    assert record.status == "levelled"
    assert (left <= [0.02, 1.0]).all()


# Clips that are left as they are ------------------------------------------------------------------


def test_a_steady_clip_is_left(scene: Scenes) -> None:
    """Constant exposure, hand-held, somebody in red crossing."""
    record, steadying = judged(Clip(scene(4), times(30), constant(30), panning, crossing))

    assert steadying is None
    assert record.status == "steady"
    assert record.range_stops < 0.02
    assert record.range_mired < 2


def test_a_subject_does_not_move_the_light(scene: Scenes) -> None:
    """Somebody in red walks up to the lens until half of the picture is coat."""
    record, steadying = judged(Clip(scene(9), times(30), constant(30), happens=coming_near))

    assert steadying is None
    assert record.range_stops < 0.03
    assert record.range_mired < 2


@pytest.mark.slow
@pytest.mark.parametrize("name", ["candle_glass", "carrots", "desk", "mountain", "still_life"])
def test_steady_photographs_are_left(name: str) -> None:
    """Real pictures, panned over and walked in front of, at constant exposure."""
    photographs = camera.photographs()
    if name not in photographs:
        pytest.skip("the photographs are not on this machine (../shared/photos)")
    for path, happens in ((panning, crossing), (lambda share: View(share=0.62), coming_near)):
        record, steadying = judged(Clip(photographs[name], times(50), constant(50), path, happens))

        assert steadying is None
        assert record.range_stops < 0.06


def test_a_pan_from_dark_to_bright_is_left(scene: Scenes) -> None:
    """Four and a half stops from left to right of the scene, at constant exposure."""
    ramp = np.exp2(np.linspace(-2.5, 2, 1280)).astype(np.float32)
    picture = scene(6) * ramp[None, :, None]
    clip = Clip(
        picture, times(40), constant(40), lambda share: View(x=0.2 + 0.6 * share, share=0.35)
    )

    record, steadying = judged(clip)

    assert steadying is None
    assert record.range_stops < 0.03


@pytest.mark.slow
@pytest.mark.parametrize("far", [0.2, 0.7])
def test_a_walk_from_one_light_into_another_is_kept(scene: Scenes, far: float) -> None:
    """From a warm dim room to a garden: automatics follow by 2.5 stops and 45 mired."""
    garden = cv2.transform(scene(8), np.diag([1.5, 1.0, 0.55]).astype(np.float32)) * 4
    wide = np.concatenate([scene(7) * np.float32(0.5), garden], axis=1)
    follow = np.clip((np.linspace(0, 1, 100) - 0.35) / 0.3, 0, 1)
    faults = [Fault(-2.5 * float(f), -45 * float(f)) for f in follow]
    path = lambda share: View(x=0.5 + far * (share - 0.5), share=0.45)  # noqa: E731

    record, steadying = judged(Clip(wide, times(100), faults, path))

    assert steadying is None
    assert record.status == "unchanged"
    assert record.why[0].code == "drift.followed"


def dusk(picture: np.ndarray, share: float) -> np.ndarray:
    """25 s of a sunset: 0.1 stop a minute on the ground, 0.35 in the sky, and 4 mired warmer."""
    minutes = share * 25 / 60
    height = np.linspace(1, 0, len(picture), dtype=np.float32)[:, None, None]
    warmer = np.exp2(np.float32([0.02, 0, -0.04]) * minutes)
    return picture * np.exp2(-(0.1 + 0.25 * height) * minutes) * warmer


@pytest.mark.slow
def test_a_sunset_is_kept(scene: Scenes) -> None:
    """Daylight that goes by 0.1 to 0.35 stop a minute is no fault of the camera."""
    record, steadying = judged(Clip(scene(9), times(100, 4.0), constant(100), happens=dusk), 4)

    assert steadying is None
    assert record.status == "steady"
    assert "drift.daylight" in {reason.code for reason in record.why}


@pytest.mark.slow
def test_pumping_in_a_sunset_goes_and_the_sunset_stays(scene: Scenes) -> None:
    """0.2 stop of pumping over 0.3 stop a minute: the pumping goes, its slope does not."""

    def falling(picture: np.ndarray, share: float) -> np.ndarray:
        return picture * np.float32(2 ** (-0.3 * share * 25 / 60))

    pumps = [Fault(0.2 * float(np.cos(n / 3.0))) for n in range(100)]
    clip = Clip(scene(9), times(100, 4.0), pumps, happens=falling)
    curve = measured(clip.frames(), clip.seconds, LOG, 4)
    record, steadying = judge(curve)

    left = left_over(steadying, clip, LOG, curve.reference)

    assert record.status == "levelled"
    assert np.ptp(left[:, 0]) < 0.06


def lamp(picture: np.ndarray, share: float) -> np.ndarray:
    """A lamp goes on in one part of the picture, half-way through."""
    h, w = picture.shape[:2]
    x, y = np.meshgrid(np.linspace(0, 1, w), np.linspace(0, 1, h))
    lit = 1 + (share > 0.5) * 2.5 * np.exp(-((x - 0.3) ** 2 + (y - 0.4) ** 2) / 0.12)
    return picture * lit[..., None].astype(np.float32)


def cloud(picture: np.ndarray, share: float) -> np.ndarray:
    """The shadow of a cloud, 1.2 stops, moves in from the left."""
    x = np.linspace(0, 1, picture.shape[1])
    shade = -1.2 / (1 + np.exp(-8 * (3 * share - 1 - x)))
    return picture * np.exp2(shade)[None, :, None].astype(np.float32)


@pytest.mark.slow
@pytest.mark.parametrize("happens", [lamp, cloud])
def test_light_that_changes_in_parts_is_kept(
    scene: Scenes, happens: Callable[[np.ndarray, float], np.ndarray]
) -> None:
    """A lamp that is lit, and a cloud's shadow: no camera changes one part of a picture."""
    _, steadying = judged(Clip(scene(9), times(50), constant(50), happens=happens))

    assert steadying is None


def test_a_cut_is_no_drift(scene: Scenes) -> None:
    """Another scene, twice as bright, from the middle on."""
    parts = [Clip(p, times(15), constant(15)) for p in (scene(9), scene(10) * 2)]
    frames = [f for part in parts for f in part.frames()]

    record, steadying = judge(measured(frames, times(30), LOG, every=5))

    assert steadying is None
    assert [r.facts["at"] for r in record.why if r.code == "drift.cut"] == [
        [pytest.approx(0.6, abs=0.05)]
    ]


@pytest.mark.parametrize("light", [0.0, 30.0])
def test_black_and_white_are_left_alone(scene: Scenes, light: float) -> None:
    """Nothing to be measured is said."""
    flat = np.full((180, 320, 3), light, np.float32)

    record, steadying = judged(Clip(flat, times(15), automatic(15, 1)), every=5)

    assert steadying is None
    assert record.status == "unchanged"
    assert record.why[0].code == "drift.nothing-in-common"


def test_noise_is_left_alone() -> None:
    """Every frame is other noise."""
    rng = np.random.default_rng(0)
    noise = [
        SimpleNamespace(signal=rng.uniform(0, 1, (216, 384, 3)).astype(np.float32), clip_level=1.0)
        for _ in range(12)
    ]

    record, steadying = judge(measured(noise, times(12), LOG, every=5))  # type: ignore[arg-type]

    assert steadying is None
    assert record.status == "unchanged"


# Keys ---------------------------------------------------------------------------------------------


def test_keys_follow_the_curve_and_are_few() -> None:
    """Within the tolerance everywhere; a straight part needs its two ends only."""
    seconds = np.cumsum(np.random.default_rng(1).uniform(0.02, 0.06, 400))
    stops = np.concatenate([np.linspace(0, 0.5, 200), 0.5 + 0.2 * np.sin(np.arange(200) / 15)])
    values = np.stack([stops, 20 * stops, 1e-3 * stops], axis=1)

    keys = keys_of(seconds, values)

    for column, name, tolerance in zip(
        values.T, ("stops", "mired", "duv"), KEY_TOLERANCE, strict=True
    ):
        drawn = np.interp(seconds, keys.seconds, getattr(keys, name))
        assert np.abs(drawn - column).max() <= tolerance
    assert list(keys.seconds) == sorted(keys.seconds)
    assert len(keys.seconds) < 120
    assert sum(s < seconds[199] for s in keys.seconds) < 25
