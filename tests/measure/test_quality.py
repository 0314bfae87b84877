"""Figures for how near a coded picture is to the one that was meant."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest

from evenhand.measure.quality import mean_squared_error, misplaced_frames, psnr, thumbnail


@pytest.mark.oracle
def test_psnr_of_eight_bits_is_opencvs() -> None:
    """cv2.PSNR, an implementation of its own, with the peak of 8 bits."""
    rng = np.random.default_rng(3)
    meant = rng.integers(0, 256, (300, 70), np.uint8)
    found = np.clip(meant + rng.normal(0, 3, meant.shape), 0, 255).astype(np.uint8)

    assert psnr(found, meant, 8) == pytest.approx(cv2.PSNR(found, meant, 255), abs=1e-4)


def test_psnr_of_one_code_everywhere_is_the_formula() -> None:
    """MSE 1 gives 20·log10(1023) = 60.198 dB at 10 bits, and 48.131 dB at 8 bits, by hand."""
    meant = np.full((8, 8), 500, np.uint16)

    assert psnr(meant + 1, meant, 10) == pytest.approx(60.198, abs=1e-3)
    assert psnr(meant - 1, meant, 8) == pytest.approx(48.131, abs=1e-3)


def test_equal_planes_are_infinitely_near() -> None:
    """No error."""
    assert psnr(np.ones((4, 4), np.uint16), np.ones((4, 4), np.uint16), 10) == math.inf


def test_planes_of_different_shape_are_refused() -> None:
    """Nothing is stretched to fit."""
    with pytest.raises(ValueError, match="cannot be compared"):
        mean_squared_error(np.ones((4, 4), np.uint16), np.ones((4, 5), np.uint16))


def test_a_thumbnail_holds_the_means_of_the_parts() -> None:
    """Each eighth of a small plane, by NumPy's own mean."""
    plane = np.random.default_rng(1).integers(64, 940, (32, 56)).astype(np.uint16)

    assert thumbnail(plane) == pytest.approx(plane.reshape(8, 4, 8, 7).mean(axis=(1, 3)), abs=1e-3)


def moving(count: int) -> np.ndarray:
    """Thumbnails in which one part after the other is 10 codes brighter."""
    frames = np.full((count, 64), 100, np.float32)
    frames[np.arange(count), np.arange(count)] += 10
    return frames.reshape(count, 8, 8)


def test_frames_out_of_place_are_told() -> None:
    """Two frames that change places, and one that is shown twice."""
    meant = moving(10)
    swapped = meant[[0, 1, 2, 4, 3, 5, 6, 7, 8, 9]]
    repeated = meant[[0, 1, 2, 3, 4, 4, 6, 7, 8, 9]]

    assert misplaced_frames(swapped, meant, 2.0) == (3, 4)
    assert misplaced_frames(repeated, meant, 2.0) == (5,)


def test_noise_and_stillness_misplace_nothing() -> None:
    """What moves less than the slack cannot be told apart and is let be."""
    rng = np.random.default_rng(0)
    still = np.full((10, 8, 8), 100, np.float32)

    assert misplaced_frames(still + rng.normal(0, 0.2, still.shape), still, 2.0) == ()
    assert misplaced_frames(moving(10) + rng.normal(0, 0.2, still.shape), moving(10), 2.0) == ()
