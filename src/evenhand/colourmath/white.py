"""White points: kelvin and Duv both ways, mired, and the matrix that levels a clip.

Correlated colour temperature is that of the nearest Planckian radiator in CIE 1960 uv (the question
that Ohno, Leukos 10, 2014, answers by tables), here by Planck's integral over the CIE 1931 2°
observer and Newton's method. c2 is 1.4388e-2 m·K, as CIE 15 and Ohno use. Duv is the distance from
the locus, positive towards green.
"""

from __future__ import annotations

from functools import cache
from typing import Final, Protocol

import numpy as np
from numpy.typing import ArrayLike

from evenhand.colourmath.adaptation import D65, adaptation_matrix
from evenhand.colourmath.curves import Array
from evenhand.colourmath.observer import CMFS, WAVELENGTHS
from evenhand.colourmath.primaries import PRIMARIES, rgb_to_xyz

C2: Final = 1.4388e-2
# 1000 K to 200 000 K; beyond it the locus hardly moves and no light is there.
_MIREDS: Final = np.concatenate([np.linspace(5.0, 99.0, 48), np.linspace(100.0, 1000.0, 451)])
_STEP: Final = 0.05


class WhitePoint(Protocol):
    """Anything with a temperature in kelvin and a Duv."""

    @property
    def kelvin(self) -> float: ...

    @property
    def duv(self) -> float: ...


def mired(kelvin: ArrayLike) -> Array:
    """Reciprocal megakelvin: equal steps look about equally large."""
    return 1e6 / np.asarray(kelvin, np.float64)


def planckian_uv(kelvin: ArrayLike) -> Array:
    """CIE 1960 uv (..., 2) of a black body; Planck's law over the 2° observer in 5 nm steps."""
    metres = WAVELENGTHS * 1e-9
    exponent = C2 / (metres * np.asarray(kelvin, np.float64)[..., None])
    # Scaled by the power at 555 nm, so that low temperatures do not vanish.
    middle = C2 / (555e-9 * np.asarray(kelvin, np.float64)[..., None])
    power = np.exp(middle - exponent) / (metres / 555e-9) ** 5 / -np.expm1(-exponent)
    xyz = power @ CMFS
    scale = (xyz @ np.array([1.0, 15.0, 3.0]))[..., None]
    result: Array = xyz[..., :2] * np.array([4.0, 6.0]) / scale
    return result


def xy_to_uv(xy: ArrayLike) -> Array:
    """CIE 1931 xy (..., 2) to CIE 1960 uv."""
    x, y = np.moveaxis(np.asarray(xy, np.float64), -1, 0)
    uv: Array = np.stack([4.0 * x, 6.0 * y], axis=-1) / (-2.0 * x + 12.0 * y + 3.0)[..., None]
    return uv


def uv_to_xy(uv: ArrayLike) -> Array:
    """CIE 1960 uv (..., 2) to CIE 1931 xy."""
    u, v = np.moveaxis(np.asarray(uv, np.float64), -1, 0)
    xy: Array = np.stack([3.0 * u, 2.0 * v], axis=-1) / (2.0 * u - 8.0 * v + 4.0)[..., None]
    return xy


def _tangent(mireds: Array) -> tuple[Array, Array]:
    """Locus point and its change per mired at each of `mireds`, (..., 2) each."""
    ends = planckian_uv(1e6 / np.stack([mireds - _STEP, mireds, mireds + _STEP]))
    return ends[1], (ends[2] - ends[0]) / (2.0 * _STEP)


def white_uv(kelvin: ArrayLike, duv: ArrayLike) -> Array:
    """CIE 1960 uv (..., 2) of a white off the Planckian locus by `duv`."""
    point, along = _tangent(mired(kelvin))
    # u rises with mired along the whole locus, so this normal points to greater v: green.
    normal = np.stack([-along[..., 1], along[..., 0]], axis=-1)
    normal /= np.linalg.norm(normal, axis=-1, keepdims=True)
    return point + np.asarray(duv, np.float64)[..., None] * normal


def white_xy(kelvin: float, duv: float = 0.0) -> tuple[float, float]:
    """CIE 1931 xy of a white by temperature (1000..200 000 K) and Duv."""
    x, y = uv_to_xy(white_uv(kelvin, duv))
    return float(x), float(y)


@cache
def _locus() -> Array:
    return planckian_uv(1e6 / _MIREDS)


def kelvin_duv_of_uv(uv: ArrayLike) -> tuple[Array, Array]:
    """Temperature and Duv of CIE 1960 uv (..., 2), each (...)."""
    target = np.asarray(uv, np.float64)
    shape, flat = target.shape[:-1], target.reshape(-1, 2)
    start = [int(np.argmin(((_locus() - p) ** 2).sum(axis=1))) for p in flat]
    mireds = _MIREDS[start]
    for _ in range(4):
        point, along = _tangent(mireds)
        step = ((flat - point) * along).sum(axis=1) / (along**2).sum(axis=1)
        mireds = np.clip(mireds + np.clip(step, -5.0, 5.0), _MIREDS[0], _MIREDS[-1])
    point, _ = _tangent(mireds)
    off = flat - point
    duv = np.copysign(np.linalg.norm(off, axis=1), off[:, 1])
    return (1e6 / mireds).reshape(shape), duv.reshape(shape)


def kelvin_duv(xy: ArrayLike) -> tuple[float, float]:
    """Temperature in kelvin and Duv of one chromaticity; temperature stays in 1000..200 000 K."""
    kelvin, duv = kelvin_duv_of_uv(xy_to_uv(xy))
    return float(kelvin), float(duv)


def cat16(src: tuple[float, float], dst: tuple[float, float]) -> Array:
    """Full von Kries adaptation in CAT16 from white `src` to `dst` (xy), 3x3 on XYZ."""
    return adaptation_matrix(src, dst, "cat16")


def levelling_matrix(stops: float, white: WhitePoint | None, space: str = "bt2020") -> Array:
    """Exposure and white as one 3x3 on linear RGB of `space`.

    Light is multiplied by 2^stops. `white` is where neutral lies in the clip; it is taken to D65 by
    CAT16. A space with another white than D65 is seen as D65 by Bradford, so that the same
    levelling means the same in every space.
    """
    gain = float(2.0**stops)
    if white is None:
        return np.eye(3) * gain
    seen = adaptation_matrix(PRIMARIES[space].white, D65, "bradford") @ rgb_to_xyz(space)
    adapted = cat16(white_xy(white.kelvin, white.duv), D65) @ seen
    return gain * np.linalg.solve(seen, adapted).astype(np.float64)
