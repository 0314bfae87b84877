"""Chromatic adaptation: full von Kries in a cone space, as 3x3 matrices on XYZ."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final, Literal

import numpy as np

from evenhand.colourmath.curves import Array

Method = Literal["bradford", "cat02", "cat16"]

# CIE 15 rounded chromaticities, as BT.709, BT.2020 and H.273 use them.
D65: Final = (0.3127, 0.3290)
D50: Final = (0.3457, 0.3585)

# fmt: off
# XYZ to cone responses, 3x3.
CONES: Final[Mapping[Method, Array]] = MappingProxyType({
    # Lam 1985, as printed in the ICC specification, annex E.
    "bradford": np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367],
                          [0.0389, -0.0685, 1.0296]]),
    # CIE 159:2004.
    "cat02": np.array([[0.7328, 0.4296, -0.1624], [-0.7036, 1.6975, 0.0061],
                       [0.0030, 0.0136, 0.9834]]),
    # Li et al. 2017; CIE 248:2022.
    "cat16": np.array([[0.401288, 0.650173, -0.051461], [-0.250268, 1.204414, 0.045854],
                       [-0.002079, 0.048952, 0.953127]]),
})
# fmt: on


def xy_to_xyz(xy: tuple[float, float]) -> Array:
    """Chromaticity to XYZ with Y = 1, (3,)."""
    x, y = xy
    return np.array([x / y, 1.0, (1.0 - x - y) / y])


def adaptation_matrix(src: tuple[float, float], dst: tuple[float, float], method: Method) -> Array:
    """XYZ seen under white `src` to XYZ under `dst` (3x3); complete adaptation, Y of white kept."""
    if src == dst:
        return np.eye(3)
    cones = CONES[method]
    gains = (cones @ xy_to_xyz(dst)) / (cones @ xy_to_xyz(src))
    return np.linalg.solve(cones, gains[:, None] * cones).astype(np.float64)
