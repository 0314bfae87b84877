"""Pictures for measuring: as shot, or steadied by the rows and times they were stored with."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from evenhand.colourmath.encodings import named
from evenhand.grade.document import Ripple, Steadying
from evenhand.grade.steadying import steadied
from evenhand.media.analysis import (
    COMPILED_FRAMES,
    frame_on_screen,
    sampled_signals,
    seconds_of,
    shot_and_steadied,
    signal_at,
    signal_of,
    sized_signals,
    small_signals,
)
from evenhand.media.decode import frames, sample
from evenhand.media.probe import probe

pytestmark = pytest.mark.media
PHONE_LOG = named("phone-log-1")
RIPPLE = Ripple(hertz=100.0, readout=0.02, cosine=0.2, sine=0.1)
STEADY = Steadying((0.0, 0.4), (0.0, 0.5), (0.0, 12.0), (0.0, 0.003), RIPPLE)
TURNS = {
    "upright": None,
    "90 clockwise": (0, 1, -1, 0),
    "180": (-1, 0, 0, -1),
    "90 anticlockwise": (0, -1, 1, 0),
    "mirrored": (-1, 0, 0, 1),
}


def grey(number: int) -> tuple[np.ndarray, ...]:
    """One grey everywhere, so that whatever differs from row to row was put there by steadying."""
    return (np.full((108, 192), 450, np.uint16), *[np.full((108, 96), 512, np.uint16)] * 2)


@pytest.fixture(params=TURNS)
def turned(request: pytest.FixtureRequest, synth: ModuleType, tmp_path: Path) -> tuple[str, Path]:
    """A grey clip of ten frames that is shown turned; its first frame is not at time 0."""
    path = tmp_path / "a.mov"
    recipe = {**synth.PRORES, "tags": synth.PHONE_LOG, "matrix": TURNS[request.param]}
    synth.write_clip(path, frames=10, hidden=2, picture=grey, **recipe)
    return request.param, path


def shown(stored: np.ndarray, turn: str) -> np.ndarray:
    """A stored picture as ISO/IEC 14496-12 says that it is shown, by plain transposition."""
    if turn == "90 clockwise":
        return stored.transpose(1, 0, 2)[:, ::-1]
    if turn == "90 anticlockwise":
        return stored.transpose(1, 0, 2)[::-1]
    return {"upright": stored, "180": stored[::-1, ::-1], "mirrored": stored[:, ::-1]}[turn]


def test_rows_are_those_of_the_stored_picture(turned: tuple[str, Path]) -> None:
    """Ripple runs along the shutter, so in a picture turned by a quarter it runs across."""
    turn, path = turned
    facts = probe(path)
    for seconds in (Fraction(0), Fraction(4, 25)):
        stored = np.full((108, 192, 3), (450 - 64) / 876)
        meant = shown(steadied(stored, PHONE_LOG, STEADY, float(seconds)), turn)

        found = signal_at(path, facts, PHONE_LOG, seconds, STEADY)

        assert found.shape == meant.shape
        assert np.ptp(meant) > 0.02
        np.testing.assert_allclose(found, meant, atol=1e-4)


def test_pixels_for_compiling_are_steadied_like_the_picture(turned: tuple[str, Path]) -> None:
    """Single pixels out of a frame know the row that they were stored in, however it is turned."""
    _, path = turned
    facts = probe(path)
    frame = sample(path, facts, COMPILED_FRAMES)[0]
    picture = signal_of(frame, facts, PHONE_LOG, steadying=STEADY).reshape(-1, 3)
    assert np.ptp(picture) > 0.02

    found = sampled_signals(path, facts, PHONE_LOG, STEADY)

    # so small a picture gives every one of its pixels, and then its ends
    np.testing.assert_allclose(found[: len(picture)], picture, atol=1e-5)
    assert found.shape == sampled_signals(path, facts, PHONE_LOG).shape


def test_a_smaller_picture_is_steadied_as_the_larger_one(turned: tuple[str, Path]) -> None:
    """Shrinking a steadied picture and steadying a shrunk one agree, to what a row box smears."""
    _, path = turned
    facts = probe(path)
    [frame] = [f for f in frames(path) if seconds_of(f, facts) == pytest.approx(0.16)]
    large = signal_of(frame, facts, PHONE_LOG, steadying=STEADY)

    small = signal_of(frame, facts, PHONE_LOG, 48, STEADY)

    height, width = small.shape[:2]
    boxes = large[: height * 4, : width * 4].reshape(height, 4, width, 4, 3).mean(axis=(1, 3))
    np.testing.assert_allclose(small, boxes, atol=2e-3)


def test_all_ways_to_a_picture_agree(synth: ModuleType, tmp_path: Path) -> None:
    """Samples by share, at one size or two, and before beside after are the same pictures."""
    path = tmp_path / "a.mov"
    synth.write_clip(path, frames=10, **{**synth.PRORES, "tags": synth.PHONE_LOG})
    facts = probe(path)
    frame = frame_on_screen(path, facts, Fraction(1, 5))
    shot, steady = shot_and_steadied(frame, facts, PHONE_LOG, None, STEADY)

    [(seconds, small)] = small_signals(path, facts, PHONE_LOG, [0.5], 400, STEADY)
    [(_, (one, two))] = sized_signals(path, facts, PHONE_LOG, [0.5], (400, 96), STEADY)

    assert seconds == pytest.approx(0.2)
    np.testing.assert_array_equal(small, steady)
    np.testing.assert_array_equal(one, steady)
    np.testing.assert_array_equal(two, signal_of(frame, facts, PHONE_LOG, 96, STEADY))
    np.testing.assert_array_equal(shot, signal_of(frame, facts, PHONE_LOG))
    assert np.abs(shot - steady).max() > 0.01


def test_without_steadying_before_and_after_are_one_array(
    synth: ModuleType, tmp_path: Path
) -> None:
    """Nothing is read twice where there is nothing to undo."""
    path = synth.write_clip(tmp_path / "a.mov", frames=2, **synth.PRORES)
    facts = probe(path)
    frame = frame_on_screen(path, facts, Fraction(0))

    shot, steady = shot_and_steadied(frame, facts, PHONE_LOG, None, None)

    assert shot is steady
