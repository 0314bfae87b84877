"""A dark ground to draw scopes on: plots, traces, graticules and text, in 8-bit R, G, B.

Everything is drawn at twice the density of the page, so that lines stay fine on a dense screen.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

Colour = tuple[int, int, int]
Pixels = NDArray[np.uint8]
Strength = NDArray[np.float32]

GROUND: Final[Colour] = (20, 20, 20)
GRID: Final[Colour] = (58, 58, 58)
STRONG: Final[Colour] = (104, 104, 104)
WORDS: Final[Colour] = (186, 186, 186)
BONE: Final[Colour] = (244, 236, 218)  # luma
# Red, green and blue moved towards orange, teal and azure and apart in lightness, so that they
# differ for people with a colour deficiency too.
CHANNELS: Final[tuple[Colour, Colour, Colour]] = ((255, 122, 84), (64, 205, 150), (92, 160, 255))

_TRACE_STEPS: Final = 40  # fewer shades pack far better and look the same
_FAINTEST: Final = 0.06  # brightness of the smallest count
_FONT: Final = "sans"  # built into OpenCV 5; no font file is read


@dataclass(frozen=True, slots=True)
class Plot:
    """The inner rectangle of a picture, in pixels."""

    left: int
    top: int
    width: int
    height: int

    @property
    def right(self) -> int:
        return self.left + self.width

    @property
    def bottom(self) -> int:
        return self.top + self.height


def blank(width: int, height: int) -> Pixels:
    """An empty ground."""
    return np.full((height, width, 3), GROUND, np.uint8)


def write(
    pixels: Pixels, words: str, at: tuple[int, int], anchor: str = "left", size: int = 22
) -> None:
    """Text with its baseline at `at`; `anchor` is "left", "middle" or "right" of that point."""
    font = cv2.FontFace(_FONT)
    box = cv2.getTextSize((pixels.shape[1], pixels.shape[0]), words, (0, 0), font, size, 400)
    shift = {"left": 0, "middle": -(box[2] // 2), "right": -box[2]}[anchor]
    drawn = np.ascontiguousarray(pixels)
    cv2.putText(drawn, words, (at[0] + shift, at[1]), WORDS, font, size, 400)
    pixels[:] = drawn


def rule(pixels: Pixels, a: tuple[int, int], b: tuple[int, int], colour: Colour = GRID) -> None:
    """A level or upright hairline, one pixel sharp."""
    cv2.line(pixels, a, b, colour, 1, cv2.LINE_8)


def dashed(
    pixels: Pixels, a: tuple[float, float], b: tuple[float, float], colour: Colour = STRONG
) -> None:
    """A dashed line of dashes about ten pixels long."""
    length = float(np.hypot(b[0] - a[0], b[1] - a[1]))
    pieces = max(1, round(length / 10))
    ends = np.linspace(a, b, 2 * (pieces // 2) + 2)
    for start, stop in zip(ends[0::2], ends[1::2], strict=True):
        first, last = np.rint(start).astype(int), np.rint(stop).astype(int)
        cv2.line(pixels, first.tolist(), last.tolist(), colour, 1, cv2.LINE_AA)


def strength(counts: NDArray[np.integer], size: tuple[int, int], gamma: float = 0.42) -> Strength:
    """Counts (rows, columns) as brightness 0..1 at `size` (width, height).

    The density that 1 in 200 of the occupied places exceeds is full brightness; `gamma` lifts faint
    traces, and a little of the light spreads so that single dots are seen.
    """
    dense = _resampled(counts.astype(np.float32), size)
    occupied = dense[dense > 0]
    if occupied.size == 0:
        return np.zeros(dense.shape, np.float32)
    full = float(np.quantile(occupied, 0.995))
    sharp = np.where(dense > 0, _FAINTEST, 0.0).astype(np.float32)
    sharp += (1.0 - _FAINTEST) * np.clip(dense / full, 0.0, 1.0) ** gamma
    soft = cv2.GaussianBlur(sharp, (0, 0), 1.6)
    lit = np.clip(0.8 * sharp + 0.45 * soft, 0.0, 1.0)
    even: Strength = (np.rint(lit * _TRACE_STEPS) / _TRACE_STEPS).astype(np.float32)
    return even


def glow(pixels: Pixels, plot: Plot, lit: Strength, colour: Colour | Pixels) -> None:
    """Adds a trace to a plot: `lit` (height, width) of `colour`, one or a colour a pixel."""
    window = pixels[plot.top : plot.bottom, plot.left : plot.right].astype(np.float32)
    paint = np.asarray(colour, np.float32)
    mixed = window + lit[..., None] * (paint - window)
    pixels[plot.top : plot.bottom, plot.left : plot.right] = np.rint(mixed).astype(np.uint8)


def _resampled(counts: Strength, size: tuple[int, int]) -> Strength:
    """Counts at another size: the mean where a side shrinks, straight between where it grows.

    In two steps, because interpolation alone would skip counts along a side that shrinks.
    """
    within = (min(size[0], counts.shape[1]), min(size[1], counts.shape[0]))
    mean = cv2.resize(counts, within, interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.resize(mean, size, interpolation=cv2.INTER_LINEAR), np.float32)
