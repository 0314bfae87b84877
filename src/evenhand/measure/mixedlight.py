"""Mixed light within one picture: a window and a lamp, say. Levelling has one white, so it is told.

A hint from the pixels that are most likely grey, never a measurement. Behind a simulated camera,
photographs and scenes lit by one light showed none in 22 trials; of 33 lit by two it saw one in
five, those with the most grey in them.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import cv2
import msgspec
import numpy as np
from numpy.typing import NDArray

from evenhand.colourmath.white import kelvin_duv_of_uv, xy_to_uv
from evenhand.measure import ratios
from evenhand.measure.views import Features
from evenhand.measure.whites import grey_index

Floats = NDArray[np.float64]

SIZE: Final = (96, 54)
MIRED: Final = (60.0, 460.0)  # where lights lie
MOST_DUV: Final = 0.02
GREYEST: Final = 0.25  # of the pixels with detail: those whose contrast is most alike in R, G and B
LEAST_PIXELS: Final = 150
BIN, SMOOTH = 5.0, 3.0  # mired; bins
# Judgement, held to photographs: how far apart two lights are, what share of the greyish pixels the
# smaller one has, and how low the valley between them is against the lower of the two heaps.
APART, LEAST_SHARE, VALLEY = 70.0, 0.2, 0.6
FRAMES_SHARE: Final = 0.6  # of the frames have to agree


class MixedLight(msgspec.Struct, frozen=True):
    """The two lights of a clip's pictures, the larger one first.

    `kelvin` is where grey lies under each as shot, `share` 0..1 of the greyish pixels.
    """

    kelvin: tuple[float, float]
    share: tuple[float, float]


def mixed_light(frames: Sequence[Features]) -> MixedLight | None:
    """The two lights that most frames show, or None."""
    found = [f for f in (_of_frame(frame) for frame in frames) if f is not None]
    if not found or len(found) < FRAMES_SHARE * len(frames):
        return None
    mired, share = np.median(np.array(found), axis=0)
    lights = sorted(zip(share, mired, strict=True), reverse=True)
    (first, one), (second, other) = ((float(s), float(m)) for s, m in lights)
    kelvin = (float(round(1e6 / one)), float(round(1e6 / other)))
    return MixedLight(kelvin, (round(first, 3), round(second, 3)))


def _of_frame(frame: Features) -> tuple[tuple[float, float], tuple[float, float]] | None:
    """Mireds of the cooler and of the warmer light of one frame, and their shares."""
    size = (SIZE[0], max(1, round(SIZE[0] * frame.size[1] / frame.size[0])))
    small = cv2.resize(frame.light.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    lit = cv2.resize(frame.valid.astype(np.float32), size, interpolation=cv2.INTER_AREA) > 0.9
    light = np.asarray(small, np.float32)
    index, usable = grey_index(light, lit)
    if usable.sum() < 2 * LEAST_PIXELS:
        return None
    mired = _mired(light[usable & (index <= np.quantile(index[usable], GREYEST))])
    if len(mired) < LEAST_PIXELS:
        return None
    cut = _valley(mired)
    if cut is None:
        return None
    cool, warm = mired[mired < cut], mired[mired >= cut]
    share = len(cool) / len(mired)
    return (float(np.median(cool)), float(np.median(warm))), (share, 1 - share)


def _mired(light: NDArray[np.float32]) -> Floats:
    """Where the pixels (n, 3) that could be grey lie along the Planckian locus."""
    xyz = ratios.xyz_of(light.astype(np.float64))
    total = np.maximum(xyz.sum(axis=-1, keepdims=True), 1e-9)
    kelvin, duv = kelvin_duv_of_uv(xy_to_uv(xyz[..., :2] / total))
    mired: Floats = 1e6 / np.asarray(kelvin, np.float64)
    return mired[(np.abs(duv) < MOST_DUV) & (mired > MIRED[0]) & (mired < MIRED[1])]


def _valley(mired: Floats) -> float | None:
    """The mired that parts two heaps of pixels, or None where there is one heap."""
    edges = np.arange(MIRED[0], MIRED[1] + BIN, BIN)
    counts, _ = np.histogram(mired, edges)
    size = 2 * int(3 * SMOOTH) + 1
    heap = cv2.GaussianBlur(counts.astype(np.float64)[None], (size, 1), SMOOTH)[0]
    peaks = [i for i in range(1, len(heap) - 1) if heap[i - 1] < heap[i] >= heap[i + 1]]
    pairs = [(i, j) for i in peaks for j in peaks if j - i >= APART / BIN]
    if not pairs:
        return None
    left, right = max(pairs, key=lambda p: min(heap[p[0]], heap[p[1]]))
    low = left + int(np.argmin(heap[left : right + 1]))
    if heap[low] > VALLEY * min(heap[left], heap[right]):
        return None
    cut = float(edges[low] + BIN / 2)
    share = float((mired < cut).mean())
    return cut if LEAST_SHARE <= share <= 1 - LEAST_SHARE else None
