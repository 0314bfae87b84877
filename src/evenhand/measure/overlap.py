"""The light that two registered views have in common, pixel by pixel."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from evenhand.measure.views import (
    Features,
    FloatImage,
    Registration,
    log_green,
    magnification,
    smallest,
)

Mask = NDArray[np.bool_]

BOX = 5  # pixels; light is averaged over such squares before it is compared
MARGIN = 31  # pixels; how far outside the hull of the inliers the views are still trusted
STEEP = 0.15  # of log2 green; edges are left out, they compare badly when a view is off by a pixel
STEEP_AFTER_FLOW = 0.25
MOST_SAMPLES = 10000
LEAST_SAMPLES = 900
PLENTY = 6000
BRIGHT = (8.0, 4.0, 2.0)  # times the floor
CELLS = 8  # the overlap is cut in CELLS × CELLS parts to see how well they agree


@dataclass(frozen=True, slots=True)
class Samples:
    """Light of the same places in two views, (n, 3) each, and where in the picture they lie.

    coverage: share of the picture; likeness: correlation of the detail; brightness: how many times
    the floor of noise every sample reaches in every channel.
    """

    a: FloatImage
    b: FloatImage
    cell: NDArray[np.intp]
    coverage: float
    likeness: float
    brightness: float


@dataclass(frozen=True, slots=True)
class _Aligned:
    """Both views in the pixels of the coarser one; `moved` is the one that was warped."""

    moved: FloatImage
    still: FloatImage
    valid: Mask
    a_moved: bool


def common_light(a: Features, b: Features, view: Registration, flow: bool) -> Samples | None:
    """Samples of the overlap, or None where it is too small to measure.

    The finer view is warped into the coarser one. With `flow`, what the homography leaves over
    (parallax, people moving) is followed by dense optical flow, and places are kept where forward
    and backward flow agree to a pixel.
    """
    pair = _aligned(a, b, view)
    floor = max(a.floor, b.floor)
    if pair is None or pair.valid.sum() < LEAST_SAMPLES:
        return None
    if flow:
        pair = _followed(pair, floor)
        if pair.valid.sum() < LEAST_SAMPLES:
            return None
    logs = [log_green(x, floor) for x in (pair.moved, pair.still)]
    likeness = _likeness(logs[0], logs[1], pair.valid)
    moved, still = (
        _floats(cv2.blur(pair.moved, (BOX, BOX))),
        _floats(cv2.blur(pair.still, (BOX, BOX))),
    )
    flat = pair.valid & _flat(still, STEEP_AFTER_FLOW if flow else STEEP)
    mask, brightness = _lit(moved, still, flat, floor)
    count = int(mask.sum())
    if count < LEAST_SAMPLES:
        return None
    where = np.flatnonzero(mask.ravel())[:: max(1, count // MOST_SAMPLES)]
    moved, still = moved.reshape(-1, 3)[where], still.reshape(-1, 3)[where]
    first, second = (moved, still) if pair.a_moved else (still, moved)
    cells = _cells(where, mask.shape)
    return Samples(first, second, cells, float(mask.mean()), likeness, brightness)


def _lit(moved: FloatImage, still: FloatImage, mask: Mask, floor: float) -> tuple[Mask, float]:
    """The part of the mask that is bright enough in all channels, and how many floors that is.

    Near the floor noise and the codec's own averaging bend the ratio (measured: blue of a dark room
    by 1.3 mired), so the bright part is preferred where there is enough of it. Asking the geometric
    mean of both views, not each view, keeps the choice from favouring either.
    """
    dark = np.minimum(smallest(moved), smallest(still))
    both = np.sqrt(np.maximum(smallest(moved * still), 0))
    mask = mask & (dark > 0.5 * floor)
    for times in BRIGHT:
        lit = np.asarray(mask & (both > times * floor))
        if lit.sum() >= PLENTY:
            return lit, times
    return np.asarray(mask & (both > floor)), 1.0


def _aligned(a: Features, b: Features, view: Registration) -> _Aligned | None:
    area = magnification(view.homography, a.size)
    if area <= 0:
        return None
    a_moved = area < 1
    fine, coarse = (a, b) if a_moved else (b, a)
    homography = view.homography if a_moved else np.linalg.inv(view.homography)
    shrink = float(np.sqrt(1 / area if a_moved else area))
    light = fine.light.astype(np.float32)
    reach = 2 * int(np.ceil(shrink)) + 1
    if shrink > 1.2:  # each pixel of the coarse view averages this many of the fine one
        sigma = 0.45 * float(np.sqrt(shrink**2 - 0.8))
        light = _floats(cv2.GaussianBlur(light, (0, 0), sigma))
    ok = cv2.erode(fine.valid.astype(np.uint8), np.ones((reach, reach), np.uint8))
    size = coarse.size
    moved = _floats(cv2.warpPerspective(light, homography, size, flags=cv2.INTER_LINEAR))
    seen = cv2.warpPerspective(ok, homography, size, flags=cv2.INTER_NEAREST) > 0
    both = seen & coarse.valid & _trusted(view, coarse, a_moved)
    valid = cv2.erode(both.astype(np.uint8), np.ones((BOX - 2, BOX - 2), np.uint8)) > 0
    return _Aligned(moved, coarse.light.astype(np.float32), valid, a_moved)


def _floats(picture: object) -> FloatImage:
    return np.asarray(picture, dtype=np.float32)


def _trusted(view: Registration, coarse: Features, a_moved: bool) -> Mask:
    points = view.points
    if not a_moved:  # the inliers are known in b, and a is the picture that stays
        back = np.linalg.inv(view.homography)
        points = _floats(cv2.perspectiveTransform(points[None], back)[0])
    mask = np.zeros(coarse.light.shape[:2], np.uint8)
    cv2.fillConvexPoly(mask, cv2.convexHull(points.astype(np.int32)), 1)
    return np.asarray(cv2.dilate(mask, np.ones((MARGIN, MARGIN), np.uint8)) > 0)


def _followed(pair: _Aligned, floor: float) -> _Aligned:
    flow = cv2.DISOpticalFlow.create(cv2.DISOPTICAL_FLOW_PRESET_FAST)
    moved, still = (
        _stretched_within(log_green(x, floor), pair.valid) for x in (pair.moved, pair.still)
    )
    h, w = pair.valid.shape
    forth = _floats(flow.calc(still, moved, np.zeros((h, w, 2), np.float32)))
    back = _floats(flow.calc(moved, still, np.zeros((h, w, 2), np.float32)))
    x, y = np.meshgrid(np.arange(w, dtype=np.float32), np.arange(h, dtype=np.float32))
    x, y = x + forth[..., 0], y + forth[..., 1]
    returned = cv2.remap(back, x, y, cv2.INTER_LINEAR) + forth
    steady = np.hypot(returned[..., 0], returned[..., 1]) < 1.0
    valid = cv2.remap(pair.valid.astype(np.uint8), x, y, cv2.INTER_NEAREST) > 0
    light = _floats(cv2.remap(pair.moved, x, y, cv2.INTER_LINEAR))
    return _Aligned(light, pair.still, pair.valid & valid & steady, pair.a_moved)


def _stretched_within(values: FloatImage, mask: Mask) -> NDArray[np.uint8]:
    low, high = np.percentile(values[mask], [2, 98])
    scaled = np.clip((values - low) / max(high - low, 1e-3), 0, 1) * 255
    return np.asarray(scaled.astype(np.uint8))


def _flat(light: FloatImage, steep: float) -> Mask:
    logs = np.log2(np.maximum(light[..., 1], 1e-6))
    across = cv2.Sobel(logs, cv2.CV_32F, 1, 0, scale=0.25)
    down = cv2.Sobel(logs, cv2.CV_32F, 0, 1, scale=0.25)
    return np.asarray(np.abs(across) + np.abs(down) < steep)


def _likeness(moved: FloatImage, still: FloatImage, mask: Mask) -> float:
    """Correlation of the detail of the two views where both are valid: -1..1, exposure-free."""
    weight = mask.astype(np.float32)
    area = cv2.GaussianBlur(weight, (0, 0), 8) + np.float32(1e-3)
    detail = []
    for logs in (moved, still):
        smooth = cv2.GaussianBlur(logs, (0, 0), 1.0)
        detail.append((smooth - cv2.GaussianBlur(smooth * weight, (0, 0), 8) / area)[mask])
    first, second = (d - d.mean() for d in detail)
    energy = float(np.sqrt((first @ first) * (second @ second)))
    return float(first @ second) / energy if energy > 0 else 0.0


def _cells(where: NDArray[np.intp], shape: tuple[int, ...]) -> NDArray[np.intp]:
    rows, columns = np.divmod(where, shape[1])
    return np.asarray(rows * CELLS // shape[0] * CELLS + columns * CELLS // shape[1])
