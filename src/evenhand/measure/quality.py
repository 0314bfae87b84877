"""How near a coded picture is to the picture that was meant."""

from __future__ import annotations

import math

import cv2
import numpy as np
import numpy.typing as npt

Plane = npt.NDArray[np.unsignedinteger]

_ROWS = 256  # rows at a time, so that a large plane needs little memory
_NEIGHBOUR = 0.6  # of the way to the next frame, beyond which a frame is taken for it


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

    Every fourth row and column is read, or all of a small plane. It tells a frame from its
    neighbours wherever something large moves, in 256 bytes.
    """
    step = _step(*luma.shape)
    few = luma[::step, ::step]
    small = cv2.resize(few.astype(np.float32), (8, 8), interpolation=cv2.INTER_AREA)
    return np.asarray(small, np.float32)


def _step(height: int, width: int) -> int:
    return 4 if min(height, width) >= 64 else 1


def pixels_of_a_part(width: int, height: int) -> float:
    """Return how many pixels each part of a thumbnail is the mean of."""
    return width * height / _step(height, width) ** 2 / 64


def misplaced_frames(
    found: npt.NDArray[np.float32], meant: npt.NDArray[np.float32], slack: float
) -> tuple[int, ...]:
    """Return the frames that are a neighbour rather than themselves.

    `found` and `meant` are thumbnails (n, 8, 8) in codes. What a frame is off is laid along the way
    from the frame meant to the one before or after: 0 is the frame itself, 1 is the neighbour, and
    the noise of coding, which goes any way, stays near 0. Past `_NEIGHBOUR` it is the neighbour.
    Frames whose neighbour differs nowhere by more than `slack` codes cannot be told apart and are
    let be.
    """
    count = min(len(found), len(meant))
    way = np.full(count, -np.inf)
    off = (found[:count] - meant[:count]).reshape(count, 64).astype(np.float64)
    step = (meant[1:count] - meant[: count - 1]).reshape(max(count - 1, 0), 64).astype(np.float64)
    way[:-1] = _along(off[:-1], step, slack)
    way[1:] = np.maximum(way[1:], _along(off[1:], -step, slack))
    return tuple(int(index) for index in np.flatnonzero(way > _NEIGHBOUR))


def _along(
    off: npt.NDArray[np.float64], step: npt.NDArray[np.float64], slack: float
) -> npt.NDArray[np.float64]:
    """How far along `step` each row of `off` reaches; nowhere where the step is within `slack`."""
    length = np.square(step).sum(axis=1)
    seen = np.abs(step).max(axis=1, initial=0.0) > slack
    return np.where(seen, (off * step).sum(axis=1) / np.maximum(length, 1e-12), -np.inf)
