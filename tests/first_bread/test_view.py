"""Geometry of the camera's view, against closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from first_bread.story import SHOTS, Framing
from first_bread.view import Lens, coded_from_upright, homography, view_at

LENS = Lens(2048, 1152, 1925.0)


def _map(matrix: np.ndarray, x: float, y: float) -> np.ndarray:
    u, v, w = matrix @ np.array([x, y, 1.0])
    return np.array([u / w, v / w])


def test_whole_still() -> None:
    """Zoom 1 about the middle shows the still from corner to corner."""
    matrix = homography(LENS, (1920, 1080), Framing(1.0, 0.5, 0.5))
    assert _map(matrix, 0, 0) == pytest.approx([0, 0], abs=1e-9)
    assert _map(matrix, 1920, 1080) == pytest.approx([2048, 1152], abs=1e-9)


def test_turn_moves_the_middle_by_the_focal_length() -> None:
    """A pan of a degrees moves the centre by focal * tan(a)."""
    matrix = homography(LENS, (1920, 1080), Framing(1.0, 0.5, 0.5, pan=3.0))
    middle = _map(matrix, 960, 540)
    assert middle == pytest.approx([1024 + 1925.0 * np.tan(np.radians(3.0)), 576], abs=1e-6)


def test_coded_on_its_side() -> None:
    """The coded picture is the upright one after a quarter turn, as numpy.rot90 makes it."""
    upright = np.arange(12).reshape(4, 3)
    coded = np.rot90(upright)
    turn = coded_from_upright(3)
    for y, x in np.ndindex(coded.shape):
        u, v = _map(turn, x, y).astype(int)
        assert coded[y, x] == upright[v, u]


@pytest.mark.parametrize("shot", SHOTS, ids=lambda shot: shot.name[:4])
def test_no_view_leaves_the_still(shot: object) -> None:
    """Corners stay in the still all through a clip, or within the little that is repeated."""
    size = (1080, 1920) if shot.portrait else (1920, 1080)
    drift = np.linspace(0.0, 6.0, 8)
    for progress in (0.0, 0.5, 1.0):
        matrix = view_at(shot, LENS, size, progress, 2.0 * progress, drift)
        for x, y in ((0, 0), (size[0], 0), (0, size[1]), size):
            u, v = _map(matrix, x, y)
            assert -45 < u < 2048 + 45
            assert -45 < v < 1152 + 45
