"""Pictures before and after a look are laid on each other, and edges count less."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from evenhand.grade.looks import LOOKS
from evenhand.measure.beforeafter import LONGEST, PairError, laid_together


def room(seed: int = 1, size: tuple[int, int] = (300, 420)) -> np.ndarray:
    """A picture with things in it: boxes and discs of many colours over a gradient."""
    rng = np.random.default_rng(seed)
    picture = np.linspace(0.2, 0.7, size[1])[None, :, None] * np.ones((*size, 3))
    for _ in range(70):
        x, y = int(rng.integers(0, size[1])), int(rng.integers(0, size[0]))
        colour = (0.1 + 0.8 * rng.random(3)).tolist()
        if rng.random() < 0.5:
            cv2.circle(picture, (x, y), int(rng.integers(5, 30)), colour, -1, cv2.LINE_AA)
        else:
            cv2.rectangle(picture, (x, y), (x + 30, y + 20), colour, -1)
    return cv2.GaussianBlur(picture, (0, 0), 0.8).astype(np.float32)


def looked(picture: np.ndarray, name: str = "daybreak") -> np.ndarray:
    return LOOKS[name].apply(picture).astype(np.float32)


def test_pictures_that_lie_on_each_other_are_left_so() -> None:
    """Not a pixel is resampled, and flat places are trusted more than edges."""
    before, after = room(), looked(room())
    pair = laid_together(before, after)

    assert np.array_equal(pair.before, before)
    assert np.array_equal(pair.after, after)
    assert pair.moved < 0.35
    assert 0.0 < pair.trust.min() < 0.05
    assert pair.trust.max() > 0.8


@pytest.mark.parametrize("name", ["small-hours", "flour"])
def test_a_moved_and_enlarged_picture_is_brought_back(name: str) -> None:
    """Shifted by 7 and 5 pixels and 3 % larger: back within a quarter of a pixel where trusted."""
    before = room()
    there = np.array([[1.03, 0.0, 7.0], [0.0, 1.03, -5.0]])
    after = cv2.warpAffine(looked(before, name), there, (420, 300))
    pair = laid_together(before, after)
    calm = pair.trust > 0.7

    assert pair.moved > 5.0
    assert calm.mean() > 0.1
    off = np.abs(pair.after - looked(before, name))[calm]
    assert np.quantile(off, 0.95) < 0.01


@pytest.mark.slow
def test_another_size_is_no_matter() -> None:
    """After at half the size, before larger than what is looked at."""
    large = cv2.resize(room(), (1260, 900), interpolation=cv2.INTER_CUBIC).clip(0, 1)
    small = cv2.resize(looked(large), (630, 450), interpolation=cv2.INTER_AREA)
    pair = laid_together(large, small)
    calm = pair.trust > 0.7

    assert max(pair.before.shape) == LONGEST
    assert pair.before.shape == pair.after.shape
    off = np.abs(pair.after - LOOKS["daybreak"].apply(pair.before))[calm]
    assert np.quantile(off, 0.95) < 0.01


def test_two_different_frames_are_refused() -> None:
    """Another scene, and a mirrored one."""
    for other in (room(2), np.ascontiguousarray(room()[:, ::-1])):
        with pytest.raises(PairError, match="same frame"):
            laid_together(room(), looked(other))
