"""How near a coded picture is to the picture that was meant."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

Plane = npt.NDArray[np.unsignedinteger]

_ROWS = 256  # rows at a time, so that a large plane needs little memory


def mean_squared_error(found: Plane, meant: Plane) -> float:
    """Return the mean squared difference of two planes of codes, in codes squared.

    Raises ValueError where the shapes differ.
    """
    if found.shape != meant.shape:
        raise ValueError(f"planes of {found.shape} and {meant.shape} cannot be compared")
    total = 0.0
    for top in range(0, found.shape[0], _ROWS):
        rows = slice(top, top + _ROWS)
        difference = found[rows].astype(np.float32) - meant[rows].astype(np.float32)
        total += float(np.square(difference).sum(dtype=np.float64))
    return total / found.size


def psnr(found: Plane, meant: Plane, bits: int) -> float:
    """Return the peak signal-to-noise ratio of a plane in dB, infinite for equal planes.

    10·log10((2^bits − 1)² / MSE): the peak is the largest code of that many bits, as the codec
    standards' test conditions have it (common practice).
    """
    error = mean_squared_error(found, meant)
    return math.inf if error == 0 else 10.0 * math.log10((2**bits - 1) ** 2 / error)
