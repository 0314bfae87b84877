"""Y'CbCr code values to R'G'B' signal and back, unrounded (BT.709 item 3, BT.2100 table 9).

Codes are in the scale of `bits`: narrow luma 16..235 and chroma 16..240 times 2^(bits−8), full
0..2^bits − 1 with chroma centred on 2^(bits−1). The matrix "rgb" means that the three planes are
R', G', B' (order R, G, B) and all take the luma scale.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike

from evenhand.colourmath.curves import Array

CodeRange = Literal["narrow", "full"]

# (kr, kb): weights of R' and B' in luma.
MATRICES: Final[Mapping[str, tuple[float, float]]] = MappingProxyType(
    {
        "bt709": (0.2126, 0.0722),
        "bt2020": (0.2627, 0.0593),
        "bt601": (0.299, 0.114),
        "rgb": (0.0, 0.0),
    }
)


def rgb_to_ycc(matrix: str) -> Array:
    """R'G'B' 0..1 to Y' 0..1 and Cb, Cr ±0.5 (3x3); the identity for "rgb"."""
    if matrix == "rgb":
        return np.eye(3)
    kr, kb = MATRICES[matrix]
    luma = np.array([kr, 1.0 - kr - kb, kb])
    cb = (np.array([0.0, 0.0, 1.0]) - luma) / (2.0 * (1.0 - kb))
    cr = (np.array([1.0, 0.0, 0.0]) - luma) / (2.0 * (1.0 - kr))
    return np.stack([luma, cb, cr])


def ycc_to_rgb(matrix: str) -> Array:
    """The inverse of `rgb_to_ycc` (3x3)."""
    return np.linalg.inv(rgb_to_ycc(matrix)).astype(np.float64)


def code_scale(bits: int, matrix: str, code_range: CodeRange) -> tuple[Array, Array]:
    """(gain, offset) a plane, (3,) each: code = gain · value + offset."""
    step = 2.0 ** (bits - 8)
    if code_range == "narrow":
        luma, chroma, black = 219.0 * step, 224.0 * step, 16.0 * step
    else:
        luma, chroma, black = 2.0**bits - 1.0, 2.0**bits - 1.0, 0.0
    if matrix == "rgb":
        return np.full(3, luma), np.full(3, black)
    middle = 128.0 * step
    return np.array([luma, chroma, chroma]), np.array([black, middle, middle])


def to_rgb(codes: ArrayLike, bits: int, matrix: str, code_range: CodeRange) -> Array:
    """Codes (..., 3) to R'G'B' signal (..., 3) in float64, unclipped."""
    gain, offset = code_scale(bits, matrix, code_range)
    values = (np.asarray(codes, np.float64) - offset) / gain
    result: Array = values @ ycc_to_rgb(matrix).T
    return result


def to_codes(signal: ArrayLike, bits: int, matrix: str, code_range: CodeRange) -> Array:
    """R'G'B' signal (..., 3) to codes (..., 3), neither rounded nor clipped."""
    gain, offset = code_scale(bits, matrix, code_range)
    result: Array = np.asarray(signal, np.float64) @ rgb_to_ycc(matrix).T * gain + offset
    return result
