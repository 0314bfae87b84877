"""Which way up a picture is shown: rotation and mirroring out of a display matrix."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray


def orientation(matrix: tuple[float, float, float, float]) -> tuple[int, bool]:
    """Clockwise degrees (0, 90, 180, 270) to turn a coded picture by, and whether to flip it then.

    `matrix` is (a, b, c, d) of ISO/IEC 14496-12: x' = a·x + c·y, y' = b·x + d·y, y downwards. The
    flip is left to right and comes after the turn; a turn alone cannot tell a mirrored picture, the
    sign of the determinant can. Angles between are taken to the nearest quarter turn.
    """
    a, b, c, d = matrix
    mirrored = a * d - b * c < 0
    degrees = math.degrees(math.atan2(b, -a if mirrored else a))
    return round(degrees / 90) % 4 * 90, mirrored


def upright(plane: NDArray[Any], rotation: int, mirrored: bool) -> NDArray[Any]:
    """A view of a plane (h, w, …) as it is to be shown."""
    turned = np.rot90(plane, -rotation // 90, axes=(0, 1))
    return turned[:, ::-1] if mirrored else turned
