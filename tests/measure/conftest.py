"""Fixtures for measuring: scenes by program, and the simulated camera beside this file."""

from __future__ import annotations

import sys
from collections.abc import Callable
from functools import cache
from pathlib import Path

import numpy as np
import pytest

sys.path.append(str(Path(__file__).parent))

import simulated_camera

from evenhand.measure.views import AnalysisFrame, Features, features


@cache
def _scene(seed: int) -> np.ndarray:
    return simulated_camera.scene(seed)


@pytest.fixture(scope="session")
def scene() -> Callable[[int], np.ndarray]:
    """Makes the scene of a number, once."""
    return _scene


@pytest.fixture(scope="session")
def seen() -> Callable[..., Features]:
    """Makes the features of what the simulated camera recorded."""

    def make(recording: simulated_camera.Recording, time: float = 0.0) -> Features:
        return features(
            AnalysisFrame(recording.signal, recording.light, recording.clip_level, 0.004, time)
        )

    return make
