"""Noise that was put into pictures on purpose comes out of the measurement."""

from __future__ import annotations

import numpy as np
import pytest
import simulated_camera as camera

from evenhand.colourmath.encodings import ENCODINGS
from evenhand.measure.noise import grey_noise

LOG = ENCODINGS["phone-log-1"]
LUMA = np.array([0.2627, 0.6780, 0.0593])  # BT.2020


@pytest.mark.parametrize("well", [4000.0, 20_000.0, 100_000.0])
def test_the_noise_of_a_camera_is_found(well: float) -> None:
    """Shot and read noise of three sensors, within a fifth, in a scene full of detail.

    The truth: variance of an 18 % grey in electrons is its electrons and 9 of reading; luma holds
    the three channels by their weights.
    """
    electrons = well / 6.0
    channel = np.sqrt(0.18 * electrons + 9) / electrons
    true = channel * np.sqrt((LUMA**2).sum())
    rng = np.random.default_rng(3)
    made = camera.record(
        camera.scene(1, (640, 360), 200), camera.Fault(), rng, sensor=camera.Sensor(well=well)
    )

    assert grey_noise(made.signal, LOG) == pytest.approx(true, rel=0.2)


def test_a_picture_without_noise_or_light_says_none() -> None:
    """A drawn grey, a black frame and a frame too small have none that could be measured."""
    assert grey_noise(np.full((96, 96, 3), 0.5, np.float32), LOG) is None
    assert grey_noise(np.full((96, 96, 3), 0.1505, np.float32), LOG) is None
    assert grey_noise(np.zeros((0, 0, 3), np.float32), LOG) is None
