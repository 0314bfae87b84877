"""Two pictures of one frame, before and after a look: laid on each other, and how far to trust it.

A look changes colours and leaves edges where they are, so pictures of the same frame register by
their edges. What lies near an edge is mixed with its other side by the codec's coarser chroma and
by any resampling: such pixels count less.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from evenhand.errors import EvenhandError
from evenhand.measure.views import AnalysisFrame, Features, features, register

FloatImage = NDArray[np.float32]

# Longest side in pixels that registration and fitting look at.
LONGEST: Final = 960
# A range of signal within 5 x 5 pixels at which a pixel counts half.
_EDGE: Final = 0.06
_BOX: Final = 5
# A displacement of the corners, in pixels, under which the pictures lie on each other as they are.
_STILL: Final = 0.35
_LEAST_LIKENESS: Final = 0.6


class PairError(EvenhandError):
    """Two pictures that do not show the same frame."""


@dataclass(frozen=True, slots=True, eq=False)
class Pair:
    """`before` and `after` (h, w, 3) float64 of one size, and `trust` (h, w) 0..1 of each pixel.

    `moved` is by how many pixels the corners of the picture after had to move, at most.
    """

    before: NDArray[np.float64]
    after: NDArray[np.float64]
    trust: NDArray[np.float64]
    moved: float


def laid_together(before: FloatImage, after: FloatImage) -> Pair:
    """Lay the picture after (h, w, 3) of display signal on the one before, at most 960 a side.

    PairError where they do not show the same.
    """
    first = _smaller(before)
    second = _sized(after, first)
    found = register(_features(second), _features(first))
    moved = 0.0
    trust: FloatImage = np.ones(first.shape[:2], np.float32)
    if found is not None:
        moved = _corner_move(found.homography, first.shape[1], first.shape[0])
        if moved > _STILL:
            size = (first.shape[1], first.shape[0])
            second = np.asarray(cv2.warpPerspective(second, found.homography, size), np.float32)
            trust = np.asarray(cv2.warpPerspective(trust, found.homography, size), np.float32)
            trust = np.where(trust > 0.999, 1.0, 0.0).astype(np.float32)
    if _likeness(first, second, trust > 0.0) < _LEAST_LIKENESS:
        raise PairError(
            "the pair",
            "the two pictures do not show the same frame",
            "Give the same frame before and after the look",
        )
    edges = (np.maximum(_range(first), _range(second)) / _EDGE).astype(np.float64)
    counts = trust.astype(np.float64) / (1.0 + edges**2)
    return Pair(first.astype(np.float64), second.astype(np.float64), counts, moved)


def _smaller(picture: FloatImage) -> FloatImage:
    scale = LONGEST / max(picture.shape[:2])
    if scale >= 1.0:
        return np.ascontiguousarray(picture, np.float32)
    size = (round(picture.shape[1] * scale), round(picture.shape[0] * scale))
    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.float32)


def _sized(picture: FloatImage, like: FloatImage) -> FloatImage:
    """The picture in about the other's size; the same shape where the two differ by rounding."""
    wanted = like.shape[1] / picture.shape[1], like.shape[0] / picture.shape[0]
    if max(wanted) / min(wanted) < 1.01:
        size = (like.shape[1], like.shape[0])
        return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.float32)
    return _smaller(picture)


def _features(picture: FloatImage) -> Features:
    signal = np.ascontiguousarray(picture, np.float32)
    return features(AnalysisFrame(signal, signal, 1.1, 1e-3))


def _corner_move(homography: NDArray[np.float64], width: int, height: int) -> float:
    corners = np.array([[0, 0], [width, 0], [0, height], [width, height]], np.float64)
    there = cv2.perspectiveTransform(corners[None], homography)[0]
    return float(np.abs(there - corners).max())


def _likeness(first: FloatImage, second: FloatImage, mask: NDArray[np.bool_]) -> float:
    """Rank correlation of luma: a rising tone curve of any shape leaves it near 1."""
    if first.shape != second.shape or mask.sum() < 500:
        return 0.0
    ranks = []
    for picture in (first, second):
        luma = cv2.GaussianBlur(picture[..., 1], (0, 0), 1.5)[mask]
        ranks.append(np.argsort(np.argsort(luma)).astype(np.float64))
    return float(np.corrcoef(ranks[0], ranks[1])[0, 1])


def _range(picture: FloatImage) -> FloatImage:
    box = np.ones((_BOX, _BOX), np.uint8)
    spread = cv2.dilate(picture, box) - cv2.erode(picture, box)
    return np.asarray(spread.max(axis=-1), np.float32)
