"""How near a coded picture is to the picture that was meant."""

from __future__ import annotations

import math

import cv2
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


def thumbnail(luma: Plane) -> npt.NDArray[np.float32]:
    """Return an 8 × 8 thumbnail of a plane: the mean code of each part.

    Every fourth row and column is read. It tells a frame from its neighbours wherever something
    large moves, in 256 bytes.
    """
    few = luma[::4, ::4] if min(luma.shape) >= 64 else luma
    small = cv2.resize(few.astype(np.float32), (8, 8), interpolation=cv2.INTER_AREA)
    return np.asarray(small, np.float32)


def misplaced_frames(
    found: npt.NDArray[np.float32], meant: npt.NDArray[np.float32], slack: float
) -> tuple[int, ...]:
    """Return the frames that look more like a neighbour than like themselves.

    `found` and `meant` are thumbnails (n, 8, 8) in codes. A frame is misplaced where its largest
    difference from the frame meant is more than `slack` codes greater than from the one before or
    after; neighbours that are alike to that degree cannot be told apart and are let be.
    """
    count = min(len(found), len(meant))
    own = _apart(found[:count], meant[:count])
    rival = np.full(count, np.inf)
    rival[1:] = np.minimum(rival[1:], _apart(found[1:count], meant[: count - 1]))
    rival[:-1] = np.minimum(rival[:-1], _apart(found[: count - 1], meant[1:count]))
    return tuple(int(index) for index in np.flatnonzero(own > rival + slack))


def _apart(a: npt.NDArray[np.float32], b: npt.NDArray[np.float32]) -> npt.NDArray[np.float64]:
    largest: npt.NDArray[np.float32] = np.abs(a - b).reshape(len(a), 64).max(axis=1, initial=0.0)
    return largest.astype(np.float64)
