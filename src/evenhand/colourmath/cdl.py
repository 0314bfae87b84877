"""ASC CDL version 1.2: slope, offset, power, then saturation."""

from __future__ import annotations

from typing import Final, Protocol

import numpy as np
from numpy.typing import ArrayLike

from evenhand.colourmath.curves import Array

Triple = tuple[float, float, float]

# The standard's luma weights, whatever space the CDL works in.
LUMA: Final = np.array([0.2126, 0.7152, 0.0722])


class ColorDecision(Protocol):
    """The ten numbers of a CDL."""

    @property
    def slope(self) -> Triple: ...

    @property
    def offset(self) -> Triple: ...

    @property
    def power(self) -> Triple: ...

    @property
    def saturation(self) -> float: ...


def saturate(values: Array, saturation: float, weights: Array = LUMA) -> Array:
    """Luma + saturation · (value − luma) on (..., 3)."""
    luma = (values @ weights)[..., None]
    result: Array = luma + saturation * (values - luma)
    return result


def apply_cdl(values: ArrayLike, cdl: ColorDecision, *, clamp: bool) -> Array:
    """A CDL on (..., 3).

    With `clamp` it is the standard's form: 0..1 after slope and offset and after saturation.
    Without, nothing is clamped and negatives pass the power unchanged: the form for spaces such as
    ACEScct, where light runs beyond 0..1 and a neutral CDL must change nothing.
    """
    out = np.asarray(values, np.float64) * np.asarray(cdl.slope) + np.asarray(cdl.offset)
    power = np.asarray(cdl.power)
    if clamp:
        graded = saturate(np.clip(out, 0.0, 1.0) ** power, cdl.saturation)
        return np.clip(graded, 0.0, 1.0)
    if np.any(power != 1.0):
        out = np.where(out > 0.0, np.maximum(out, 0.0) ** power, out)
    return out if cdl.saturation == 1.0 else saturate(out, cdl.saturation)
