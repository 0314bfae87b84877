"""Mixed light within one picture: a window and a lamp, say. Levelling has one white, so it is told.

A hint from the pixels that are most likely grey, never a measurement. Behind a simulated camera,
photographs and scenes lit by one light showed none in 33 trials; of 33 lit by two it saw 16, those
with the most grey in them.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import cv2
import msgspec
import numpy as np
from numpy.typing import NDArray

from evenhand.colourmath.white import kelvin_duv
from evenhand.measure import ratios
from evenhand.measure.views import Features
from evenhand.measure.whites import grey_index

Floats = NDArray[np.float64]

SIZE: Final = (96, 54)
MOST_WARMTH, MOST_GREEN = 2.4, 0.2  # stops of R/B and of G that a grey may be off the middle
# Of log2(G/√(R·B)) for each stop of R/B: 0.22 along the locus from D65. Half of that found most.
ALONG_LOCUS: Final = 0.11
GREYEST: Final = 0.25  # of the pixels with detail: those whose contrast is most alike in R, G and B
LEAST_PIXELS: Final = 150
BIN, SMOOTH = 0.05, 3.0  # stops of R/B; bins
# Judgement, held to photographs: how far apart two lights are (60 mired at D65), what share of the
# greyish pixels the smaller one has, and how low the valley between them is against the lower heap.
APART, LEAST_SHARE, VALLEY = 0.7, 0.2, 0.6
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
    greys = light[usable & (index <= np.quantile(index[usable], GREYEST))].astype(np.float64)
    warmth, green = _ratios(greys)
    near = (np.abs(green - np.median(green)) < MOST_GREEN) & (
        np.abs(warmth - np.median(warmth)) < MOST_WARMTH
    )
    if near.sum() < LEAST_PIXELS:
        return None
    greys, warmth = greys[near], warmth[near] - np.median(warmth)
    cut = _valley(warmth)
    if cut is None:
        return None
    cool = warmth < cut
    share = float(cool.mean())
    return (_mired(greys[cool]), _mired(greys[~cool])), (share, 1 - share)


def _ratios(light: Floats) -> tuple[Floats, Floats]:
    """log2(R/B), and green off the line that lights of one kind make, of light (n, 3) in stops.

    Another light shifts all of them alike.
    """
    red, green, blue = np.log2(np.maximum(light, 1e-6)).T
    return red - blue, green - (red + blue) / 2 - ALONG_LOCUS * (red - blue)


def _mired(light: Floats) -> float:
    """Where the middle of pixels (n, 3) lies along the Planckian locus."""
    middle = np.median(light / np.maximum(light[:, 1:2], 1e-9), axis=0)
    x, y, z = ratios.xyz_of(middle)
    kelvin, _ = kelvin_duv((x / (x + y + z), y / (x + y + z)))
    return 1e6 / float(kelvin)


def _valley(warmth: Floats) -> float | None:
    """The log2(R/B) that parts two heaps of pixels, or None where there is one heap."""
    edges = np.arange(-MOST_WARMTH, MOST_WARMTH + BIN, BIN)
    counts, _ = np.histogram(warmth, edges)
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
    share = float((warmth < cut).mean())
    return cut if LEAST_SHARE <= share <= 1 - LEAST_SHARE else None
