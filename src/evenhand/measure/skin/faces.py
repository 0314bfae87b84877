"""Faces in a picture, from the outputs of a small network: what it is shown, what its numbers say.

The network looks at a square of 192 × 192 pixels and gives a score, a box and six points for each
cell of a grid of 48 × 48 (a single-shot detector; the meaning of its numbers is published with it).
Loading and running it is the caller's business, so that everything here is plain arithmetic.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Picture = NDArray[np.float32]
Square = tuple[float, float, float]  # left, top, side; pixels, may reach outside the picture
Network = Callable[[Picture], tuple[Floats, Floats]]
"""From (1, 3, SIDE, SIDE) RGB in −1..1 to (CELLS², 16) boxes with points and (CELLS²,) scores."""

SIDE: Final = 192
CELLS: Final = 48
LEAST_SCORE: Final = 0.6
_SAME: Final = 0.3  # overlap (intersection over union) above which two boxes are one face
_SCORE_REACH: Final = 80.0  # keeps exp() within range
_EDGE: Final = 0.02  # of a square: a box that comes so near to its edge is cut
_LONG: Final = 1.25  # a picture longer than this is looked at in squares too


@dataclass(frozen=True, slots=True)
class Face:
    """A face: box and points as fractions of the upright picture's width and height.

    box: left, top, width, height. `points`: right eye, left eye (the person's own), tip of the
    nose, mouth, right ear, left ear. `score`: 0..1.
    """

    box: tuple[float, float, float, float]
    points: tuple[tuple[float, float], ...]
    score: float


def find_faces(picture: Picture, network: Network) -> tuple[Face, ...]:
    """The faces of a picture, largest first.

    picture (h, w, 3): R'G'B' 0..1 as for a display. The whole of it is looked at, and squares along
    its longer side, in which a face is nearly twice as large.
    """
    found = [_seen(picture, square, network) for square in squares(*picture.shape[:2])]
    boxes, scores = (np.concatenate(parts) for parts in zip(*found, strict=True))
    kept = merged(boxes, scores)
    size = np.array(picture.shape[1::-1], np.float64)
    faces = [_face(values / size, score) for values, score in kept]
    return tuple(sorted(faces, key=lambda face: -face.box[2] * face.box[3]))


def squares(height: int, width: int) -> tuple[Square, ...]:
    """The squares to look at: the whole picture, then along the longer side of a long one."""
    long, short = max(height, width), min(height, width)
    whole = ((width - long) / 2, (height - long) / 2, float(long))
    if long < _LONG * short:
        return (whole,)
    count = math.ceil(long / short)
    starts = np.linspace(0.0, long - short, count)
    wide = width >= height
    return (whole, *((float(s), 0.0, short) if wide else (0.0, float(s), short) for s in starts))


def _seen(picture: Picture, square: Square, network: Network) -> tuple[Floats, Floats]:
    """(n, 8, 2) centre, size and six points in pixels of the picture, and (n,) scores.

    A box that meets an edge of the square inside the picture is left out: what it holds is cut off,
    and the whole picture shows it all.
    """
    left, top, side = square
    raw, logits = network(network_input(picture, square))
    boxes, scores = decoded(raw, logits)
    low, high = boxes[:, 0] - boxes[:, 1] / 2, boxes[:, 0] + boxes[:, 1] / 2
    cut_low, cut_high = _cuts(picture.shape, square)
    whole = ~((cut_low & (low < _EDGE)) | (cut_high & (high > 1.0 - _EDGE))).any(axis=1)
    boxes, scores = boxes[whole], scores[whole]
    boxes[:, 1] *= side
    boxes[:, [0, *range(2, 8)]] = boxes[:, [0, *range(2, 8)]] * side + np.array([left, top])
    return boxes, scores


def _cuts(shape: tuple[int, ...], square: Square) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Whether a square cuts the picture at its left and top, and at its right and bottom."""
    left, top, side = square
    height, width = shape[:2]
    low = np.array([left > 0, top > 0])
    return low, np.array([left + side < width, top + side < height])


def network_input(picture: Picture, square: Square) -> Picture:
    """(1, 3, SIDE, SIDE) in −1..1: a square of the picture, black where it reaches outside."""
    left, top, side = square
    height, width = picture.shape[:2]
    rows = slice(max(0, round(top)), min(height, round(top + side)))
    columns = slice(max(0, round(left)), min(width, round(left + side)))
    part = picture[rows, columns]
    scale = SIDE / side
    size = (max(1, round(part.shape[1] * scale)), max(1, round(part.shape[0] * scale)))
    small = cv2.resize(np.ascontiguousarray(part), size, interpolation=cv2.INTER_AREA)
    shown = np.zeros((SIDE, SIDE, 3), np.float32)
    y, x = (max(0, round(-start * scale)) for start in (top, left))
    small = small[: SIDE - y, : SIDE - x]
    shown[y : y + small.shape[0], x : x + small.shape[1]] = np.clip(small, 0.0, 1.0)
    return np.ascontiguousarray((2.0 * shown - 1.0).transpose(2, 0, 1)[None])


def decoded(raw: Floats, logits: Floats) -> tuple[Floats, Floats]:
    """Boxes (n, 8, 2) as fractions of the square and scores (n,) of the cells that see a face.

    Places are offsets from the middle of the cell, in pixels of the square; sizes are plain.
    """
    scores = 1.0 / (1.0 + np.exp(-np.clip(logits.reshape(-1), -_SCORE_REACH, _SCORE_REACH)))
    sure = np.flatnonzero(scores >= LEAST_SCORE)
    boxes = raw.reshape(-1, 8, 2)[sure].astype(np.float64) / SIDE
    row, column = np.divmod(sure, CELLS)
    middle = (np.stack([column, row], axis=1) + 0.5) / CELLS
    boxes[:, [0, *range(2, 8)]] += middle[:, None]
    whole = (boxes[:, 1] > 0).all(axis=1) & np.isfinite(boxes).all(axis=(1, 2))
    return boxes[whole], scores[sure][whole]


def merged(boxes: Floats, scores: Floats) -> list[tuple[Floats, float]]:
    """One (8, 2) box a face: the score-weighted mean of those that overlap the best one."""
    left = np.argsort(-scores)
    kept = []
    while left.size:
        overlap = _overlap(boxes[left[0]], boxes[left])
        same = left[overlap > _SAME]
        weights = scores[same] / scores[same].sum()
        kept.append((np.tensordot(weights, boxes[same], 1), float(scores[left[0]])))
        left = left[overlap <= _SAME]
    return kept


def _overlap(box: Floats, others: Floats) -> Floats:
    """Intersection over union of a box (centre and size first) with others."""
    low = np.maximum(box[0] - box[1] / 2, others[:, 0] - others[:, 1] / 2)
    high = np.minimum(box[0] + box[1] / 2, others[:, 0] + others[:, 1] / 2)
    shared = np.maximum(high - low, 0.0).prod(axis=1)
    result: Floats = shared / (box[1].prod() + others[:, 1].prod(axis=1) - shared)
    return result


def _face(values: Floats, score: float) -> Face:
    (left, top), (width, height) = (values[0] - values[1] / 2).tolist(), values[1].tolist()
    points: Sequence[tuple[float, float]] = [(float(x), float(y)) for x, y in values[2:]]
    return Face((left, top, width, height), tuple(points), score)
