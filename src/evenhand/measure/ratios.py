"""Channel ratios of two pictures of one scene, as gains, stops, mired and Duv.

Two cameras that differ in exposure and white balance see one scene as `b = A·a` in linear BT.2020,
with A a von Kries adaptation in CAT16 (Li et al. 2017, doi:10.1002/col.22131) times an exposure.
A is diagonal in CAT16's cone space, so its three log2 gains add up along a chain of clips, and they
hold for any white of the pair: both may be warm. What a D65 neutral of `a` becomes in `b`, A·(1, 1,
1), is the ratio that people read as stops, mired and Duv.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from evenhand.colourmath.adaptation import CONES, D65, xy_to_xyz
from evenhand.colourmath.primaries import rgb_to_xyz
from evenhand.colourmath.white import kelvin_duv, white_xy
from evenhand.grade.document import White
from evenhand.measure.decisions import Difference

Array = NDArray[np.float64]

_XYZ = np.asarray(rgb_to_xyz("bt2020"), dtype=np.float64)
_CONES = CONES["cat16"] @ _XYZ
_RGB = np.linalg.inv(_CONES)
_NEUTRAL = _CONES.sum(axis=1)
_D65_KELVIN, _D65_DUV = kelvin_duv(D65)

# One mired at D65 moves the white by this much in CIE 1960 uv (Planckian locus).
UV_PER_MIRED = 0.000368


def gains_of(ratio: Array) -> Array:
    """log2 gains in CAT16's cone space of the linear BT.2020 ratio (3,) of a D65 neutral."""
    cones = _CONES @ np.asarray(ratio, dtype=np.float64)
    found: Array = np.log2(np.maximum(cones, 1e-9) / _NEUTRAL)
    return found


def ratio_of(gains: Array) -> Array:
    """Linear BT.2020 ratio (3,) that the log2 cone gains make of a D65 neutral."""
    ratio: Array = _RGB @ (_NEUTRAL * np.exp2(gains))
    return ratio


def matrix_of(gains: Array) -> Array:
    """The 3×3 matrix on linear BT.2020 with the log2 cone gains; its inverse is of `-gains`."""
    matrix: Array = (_RGB * np.exp2(gains)) @ _CONES
    return matrix


def xyz_of(light: Array) -> Array:
    """CIE XYZ (..., 3) of linear BT.2020 light."""
    xyz: Array = np.asarray(light, dtype=np.float64) @ _XYZ.T
    return xyz


def white_of(gains: Array) -> White:
    """Where a D65 neutral lands under the gains: the white that CAT16 has to take back to D65."""
    x, y, z = _XYZ @ ratio_of(gains)
    kelvin, duv = kelvin_duv((x / (x + y + z), y / (x + y + z)))
    return White(kelvin=float(kelvin), duv=float(duv))


def stops_of(gains: Array) -> float:
    """log2 of the luminance ratio of a D65 neutral."""
    return float(np.log2(max(_XYZ[1] @ ratio_of(gains), 1e-9)))


def difference_of(gains: Array) -> Difference:
    """The gains as stops, mired and Duv relative to no change."""
    white = white_of(gains)
    return Difference(
        stops=stops_of(gains),
        mired=1e6 / white.kelvin - 1e6 / _D65_KELVIN,
        duv=white.duv - _D65_DUV,
    )


def levelling_gains(stops: float, white: White | None) -> Array:
    """log2 cone gains that a correction of `stops` and `white` applies (white is taken to D65)."""
    if white is None:
        return np.full(3, float(stops))
    cones = CONES["cat16"] @ xy_to_xyz(white_xy(white.kelvin, white.duv))
    gains: Array = float(stops) - np.log2(cones / _NEUTRAL)
    return gains


def mired_size(gains: Array) -> float:
    """How far the gains move the white, in mired along the locus and across it taken together."""
    moved = difference_of(gains)
    return float(np.hypot(moved.mired, moved.duv / UV_PER_MIRED))
