"""ACEScct, the space in which a grade's CDL, contrast and saturation work (AMPAS S-2016-001)."""

from __future__ import annotations

from typing import Final

from numpy.typing import ArrayLike

from evenhand.colourmath.curves import Array
from evenhand.colourmath.transfers import TRANSFERS

_ACESCCT: Final = TRANSFERS["acescct"]

# 18 % grey in ACEScct: (log2 0.18 + 9.72)/17.52.
GREY: Final = float(_ACESCCT.to_signal(0.18, "full"))


def from_linear(light: ArrayLike) -> Array:
    """Linear AP1 to ACEScct; negatives run on along the straight piece."""
    return _ACESCCT.to_signal(light, "full")


def to_linear(signal: ArrayLike) -> Array:
    """ACEScct to linear AP1."""
    return _ACESCCT.to_light(signal, "full")
