"""RGB primaries by name, and the matrices between them.

Chromaticities are CIE 1931 xy. `adaptation` is the chromatic adaptation that the published
transform of that space to ACES uses (it is not the same for all of them); it applies where the
white points differ.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import Final

import numpy as np

from evenhand.colourmath.adaptation import D65, Method, adaptation_matrix, xy_to_xyz
from evenhand.colourmath.curves import Array

Xy = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Primaries:
    """One set of primaries and its white."""

    name: str
    title: str
    red: Xy
    green: Xy
    blue: Xy
    white: Xy = D65
    adaptation: Method = "bradford"
    source: str


# fmt: off
_ACES_WHITE: Final = (0.32168, 0.33767)
_ROWS: Final = (
    Primaries(name="bt709", title="BT.709", red=(0.64, 0.33), green=(0.30, 0.60),
              blue=(0.15, 0.06), source="ITU-R BT.709-6 item 1.3"),
    Primaries(name="bt2020", title="BT.2020", red=(0.708, 0.292), green=(0.170, 0.797),
              blue=(0.131, 0.046), source="ITU-R BT.2020-2 table 3"),
    Primaries(name="bt601-625", title="BT.601, 625 lines (BT.470 B, G)", red=(0.64, 0.33),
              green=(0.29, 0.60), blue=(0.15, 0.06), source="ITU-T H.273 table 2, value 5"),
    Primaries(name="bt601-525", title="BT.601, 525 lines (SMPTE 170M)", red=(0.630, 0.340),
              green=(0.310, 0.595), blue=(0.155, 0.070), source="ITU-T H.273 table 2, value 6"),
    Primaries(name="p3-d65", title="P3, D65", red=(0.680, 0.320), green=(0.265, 0.690),
              blue=(0.150, 0.060), source="SMPTE EG 432-1; ITU-T H.273 table 2, value 12"),
    Primaries(name="ebu3213", title="EBU Tech 3213 (as H.273 prints it)", red=(0.630, 0.340),
              green=(0.295, 0.605), blue=(0.155, 0.077), source="ITU-T H.273 table 2, value 22"),
    Primaries(name="ap0", title="ACES AP0", red=(0.7347, 0.2653), green=(0.0, 1.0),
              blue=(0.0001, -0.0770), white=_ACES_WHITE, source="SMPTE ST 2065-1"),
    Primaries(name="ap1", title="ACES AP1", red=(0.713, 0.293), green=(0.165, 0.830),
              blue=(0.128, 0.044), white=_ACES_WHITE, source="AMPAS S-2014-004"),
    Primaries(name="phone-wide", title="Phone log, second generation", red=(0.725, 0.301),
              green=(0.221, 0.814), blue=(0.068, -0.076),
              source="recovered from OpenColorIO's matrix by undoing Bradford; residual 4e-11"),
    Primaries(name="s-gamut3", title="S-Gamut3", red=(0.730, 0.280), green=(0.140, 0.855),
              blue=(0.100, -0.050), adaptation="cat02",
              source="Technical Summary for S-Gamut3.Cine/S-Log3"),
    Primaries(name="s-gamut3-cine", title="S-Gamut3.Cine", red=(0.766, 0.275),
              green=(0.225, 0.800), blue=(0.089, -0.087), adaptation="cat02",
              source="Technical Summary for S-Gamut3.Cine/S-Log3"),
    Primaries(name="logc3-gamut", title="LogC3 wide gamut", red=(0.684, 0.313),
              green=(0.221, 0.848), blue=(0.0861, -0.102), adaptation="cat02",
              source="LogC3 usage in VFX"),
    Primaries(name="logc4-gamut", title="LogC4 wide gamut", red=(0.7347, 0.2653),
              green=(0.1424, 0.8576), blue=(0.0991, -0.0308), adaptation="cat02",
              source="LogC4 specification"),
    Primaries(name="v-gamut", title="V-Gamut", red=(0.730, 0.280), green=(0.165, 0.840),
              blue=(0.100, -0.030), source="V-Log/V-Gamut Reference Manual"),
    Primaries(name="cinema-gamut", title="Cinema Gamut", red=(0.740, 0.270),
              green=(0.170, 1.140), blue=(0.080, -0.100), adaptation="cat02",
              source="Log gamma curves white paper"),
    Primaries(name="log3g10-gamut", title="Wide gamut of Log3G10", red=(0.780308, 0.304253),
              green=(0.121595, 1.493994), blue=(0.095612, -0.084589),
              source="White paper on Log3G10"),
)
# fmt: on
PRIMARIES: Final[Mapping[str, Primaries]] = MappingProxyType({row.name: row for row in _ROWS})


def _frozen(matrix: Array) -> Array:
    matrix.setflags(write=False)
    return matrix


@cache
def rgb_to_xyz(name: str) -> Array:
    """Linear RGB to XYZ (3x3) with Y of white 1, for the space's own white; SMPTE RP 177."""
    row = PRIMARIES[name]
    columns = np.stack([xy_to_xyz(xy) for xy in (row.red, row.green, row.blue)], axis=1)
    return _frozen(columns * np.linalg.solve(columns, xy_to_xyz(row.white)).astype(np.float64))


def adaptation_between(src: str, dst: str) -> Method:
    """The adaptation to use from `src` to `dst`: that of the space which is not ACES itself."""
    return PRIMARIES[dst if src in ("ap0", "ap1") else src].adaptation


@cache
def rgb_to_rgb(src: str, dst: str, adaptation: Method | None = None) -> Array:
    """Linear RGB of `src` to linear RGB of `dst` (3x3).

    Where the whites differ they are adapted by `adaptation`, or by the method that the published
    transform between the two uses.
    """
    method = adaptation or adaptation_between(src, dst)
    adapt = adaptation_matrix(PRIMARIES[src].white, PRIMARIES[dst].white, method)
    return _frozen(np.linalg.solve(rgb_to_xyz(dst), adapt @ rgb_to_xyz(src)).astype(np.float64))


@cache
def luminance_weights(name: str) -> Array:
    """Weights of linear R, G, B in luminance Y, (3,)."""
    return _frozen(rgb_to_xyz(name)[1].copy())
