"""Waveform, parade, histogram and vectorscope as pictures, from counts of pixels.

Levels are percent of signal: 0 % black, 100 % white (10-bit codes 64 and 940). Chroma is percent of
±0.5. The pale marks at −5 % and 105 % are the limits of EBU R 103.
"""

from __future__ import annotations

import math
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from evenhand.colourmath.ycbcr import ycc_to_rgb
from evenhand.drawing import canvas
from evenhand.drawing.canvas import Pixels, Plot
from evenhand.drawing.model import Figure, Picture, ScopeSet
from evenhand.drawing.picture import encoded
from evenhand.measure.graticule import SkinLine, bar_targets
from evenhand.measure.scopes import CHROMA_VALUE, LEVEL_PERCENT, ScopeNumbers, Scopes

HEIGHT: Final = 440
_WAVE: Final = Plot(88, 22, 692, 396)
_BARS: Final = Plot(18, 46, 604, 330)
_DISC: Final = Plot(0, 0, 440, 440)
_LIMITS: Final = (-5.0, 105.0)
_CHROMA_REACH: Final = 0.56  # Cb or Cr at the edge of the vectorscope
_BAR_LABELS: Final = {
    "red": "R",
    "yellow": "Yl",
    "green": "G",
    "cyan": "Cy",
    "blue": "B",
    "magenta": "Mg",
}


def scope_set(scopes: Scopes, with_parade: bool = False, skin: SkinLine | None = None) -> ScopeSet:
    """The pictures of one measurement, packed for a page, with a few figures.

    `skin` is the skin line of the encoding that was measured.
    """
    return ScopeSet(
        waveform=_for_page(draw_waveform(scopes)),
        parade=_for_page(draw_parade(scopes)) if with_parade else None,
        histogram=_for_page(draw_histogram(scopes)),
        vectorscope=_for_page(draw_vectorscope(scopes, skin)),
        figures=figures(scopes.numbers),
    )


def scope_png(pixels: Pixels) -> bytes:
    """One drawn scope as a PNG file."""
    return encoded(pixels, ".png", [cv2.IMWRITE_PNG_COMPRESSION, 9]).data


def _for_page(pixels: Pixels) -> Picture:
    # A trace is noise to a lossless coder: as WebP it is a fifth of the size and looks the same.
    return encoded(pixels, ".webp", [cv2.IMWRITE_WEBP_QUALITY, 78])


def figures(numbers: ScopeNumbers) -> tuple[Figure, ...]:
    """The figures that a person looks for first, in words."""
    luma, chroma = numbers.luma_percentiles, numbers.saturation_percentiles
    outside = numbers.below_preferred + numbers.above_preferred
    return (
        Figure("Luma, middle 98 %", f"{luma['1']:.0f} to {luma['99']:.0f} %"),
        Figure("Median luma", f"{luma['50']:.1f} %"),
        Figure("Chroma, 95th percentile", f"{chroma['95']:.0f} %"),
        Figure("Outside −5 to 105 %", f"{outside:.2f} % of the picture"),
    )


def draw_waveform(scopes: Scopes) -> Pixels:
    """Luma over the width of the picture."""
    pixels = canvas.blank(_WAVE.right + 20, HEIGHT)
    _level_graticule(pixels, _WAVE)
    _trace(pixels, _WAVE, scopes.luma, canvas.BONE)
    return pixels


def draw_parade(scopes: Scopes) -> Pixels:
    """R′, G′ and B′ over the width of the picture, side by side."""
    pixels = canvas.blank(_WAVE.right + 20, HEIGHT)
    _level_graticule(pixels, _WAVE)
    gap = 8
    width = (_WAVE.width - 2 * gap) // 3
    for place, (name, counts) in enumerate(zip("RGB", scopes.parade, strict=True)):
        plot = Plot(_WAVE.left + place * (width + gap), _WAVE.top, width, _WAVE.height)
        _trace(pixels, plot, counts, canvas.CHANNELS[place])
        canvas.write(pixels, name, (plot.left + 6, plot.top + 18), size=20)
    return pixels


def draw_histogram(scopes: Scopes) -> Pixels:
    """How many pixels lie at each level: luma filled, R′, G′, B′ as lines; height is a root."""
    pixels = canvas.blank(_BARS.right + 18, HEIGHT)
    for percent in (0.0, 25.0, 50.0, 75.0, 100.0):
        x = _across(_BARS, percent)
        colour = canvas.STRONG if percent in (0, 100) else canvas.GRID
        canvas.rule(pixels, (x, _BARS.top), (x, _BARS.bottom), colour)
        canvas.write(pixels, f"{percent:g} %", (x, _BARS.bottom + 34), "middle")
    for percent in _LIMITS:
        x = _across(_BARS, percent)
        canvas.dashed(pixels, (x, _BARS.top), (x, _BARS.bottom), canvas.GRID)
    heights = _heights(scopes.histogram)
    outlines = [_outline(_BARS, row) for row in heights]
    shape = np.concatenate([outlines[0], [[_BARS.right, _BARS.bottom], [_BARS.left, _BARS.bottom]]])
    veil = pixels.copy()
    cv2.fillPoly(veil, [shape.astype(np.int32)], canvas.BONE, cv2.LINE_AA)
    pixels[:] = cv2.addWeighted(veil, 0.30, pixels, 0.70, 0)
    for row, colour in zip(outlines[1:], canvas.CHANNELS, strict=True):
        cv2.polylines(pixels, [row.astype(np.int32)], False, colour, 2, cv2.LINE_AA)
    cv2.polylines(pixels, [outlines[0].astype(np.int32)], False, canvas.BONE, 1, cv2.LINE_AA)
    canvas.write(pixels, "R  G  B lines, luma filled", (_BARS.left, 30), size=20)
    return pixels


def draw_vectorscope(scopes: Scopes, skin: SkinLine | None = None) -> Pixels:
    """Cb to the right, Cr upwards, with 75 % bar targets and the skin line, if there is one."""
    pixels = canvas.blank(_DISC.width, _DISC.height)
    _chroma_graticule(pixels, scopes.matrix, skin)
    reach = np.flatnonzero(np.abs(CHROMA_VALUE) <= _CHROMA_REACH)
    window = slice(int(reach[0]), int(reach[-1]) + 1)
    counts = scopes.vectorscope[window, window][::-1]
    lit = canvas.strength(counts, (_DISC.width, _DISC.height), gamma=0.25)
    canvas.glow(pixels, _DISC, lit, _hues(scopes.matrix))
    return pixels


def _trace(pixels: Pixels, plot: Plot, counts: NDArray[np.uint32], colour: canvas.Colour) -> None:
    """Counts (columns, levels) into a plot, high levels up."""
    lit = canvas.strength(counts.T[::-1], (plot.width, plot.height))
    canvas.glow(pixels, plot, lit, colour)


def _share(percent: float) -> float:
    """Where a level lies between the lowest and the highest of the counts, 0..1."""
    low, high = float(LEVEL_PERCENT[0]), float(LEVEL_PERCENT[-1])
    return (percent - low) / (high - low)


def _up(plot: Plot, percent: float) -> int:
    return round(plot.bottom - _share(percent) * plot.height)


def _across(plot: Plot, percent: float) -> int:
    return round(plot.left + _share(percent) * plot.width)


def _level_graticule(pixels: Pixels, plot: Plot) -> None:
    for tenth in range(11):
        y = _up(plot, 10.0 * tenth)
        colour = canvas.STRONG if tenth in (0, 10) else canvas.GRID
        canvas.rule(pixels, (plot.left, y), (plot.right, y), colour)
        if tenth % 2 == 0:
            label = "100 %" if tenth == 10 else f"{10 * tenth}"
            canvas.write(pixels, label, (plot.left - 10, y + 8), "right")
    for percent in _LIMITS:
        y = _up(plot, percent)
        canvas.dashed(pixels, (plot.left, y), (plot.right, y), canvas.GRID)


def _heights(counts: NDArray[np.uint64]) -> NDArray[np.float64]:
    """(4, levels / 4) heights 0..1: square roots, so that small numbers are seen too."""
    grouped = counts.reshape(counts.shape[0], -1, 4).sum(axis=2).astype(np.float64)
    # The ends may hold a pile of clipped pixels, which must not flatten everything else.
    full = max(float(np.quantile(grouped, 0.995)), 1.0)
    root: NDArray[np.float64] = np.sqrt(np.clip(grouped / full, 0.0, 1.0))
    return root


def _outline(plot: Plot, heights: NDArray[np.float64]) -> NDArray[np.float64]:
    x = np.linspace(plot.left, plot.right, heights.size)
    return np.rint(np.stack([x, plot.bottom - heights * (plot.height - 4)], axis=1))


def _place(cb: float, cr: float) -> tuple[int, int]:
    half = _DISC.width / 2
    return round(half + cb / _CHROMA_REACH * half), round(half - cr / _CHROMA_REACH * half)


def _chroma_graticule(pixels: Pixels, matrix: str, skin: SkinLine | None) -> None:
    centre = _place(0, 0)
    for share in (0.25, 0.5, 0.75, 1.0):
        across = _place(share / 2, 0)[0] - centre[0]
        colour = canvas.STRONG if share == 1.0 else canvas.GRID
        cv2.circle(pixels, centre, across, colour, 1, cv2.LINE_AA)
    canvas.rule(pixels, _place(-0.5, 0), _place(0.5, 0))
    canvas.rule(pixels, _place(0, -0.5), _place(0, 0.5))
    for label, radius in (("50", 0.25), ("100 %", 0.5)):
        x, y = _place(radius * math.cos(-0.75), radius * math.sin(-0.75))
        canvas.write(pixels, label, (x + 4, y + 18), size=18)
    if skin is not None:
        angle = math.radians(skin.angle)
        tip = (0.5 * math.cos(angle), 0.5 * math.sin(angle))
        canvas.dashed(pixels, centre, _place(*tip), canvas.WORDS)
        canvas.write(pixels, "skin", _place(tip[0] * 1.02 - 0.005, tip[1] * 1.02), "right", 18)
    for bar, (cb, cr) in bar_targets(matrix).items():
        x, y = _place(cb, cr)
        cv2.rectangle(pixels, (x - 9, y - 9), (x + 9, y + 9), canvas.STRONG, 1, cv2.LINE_AA)
        outward = 1.0 + 0.07 / math.hypot(cb, cr)
        beside = _place(cb * outward, cr * outward)
        canvas.write(pixels, _BAR_LABELS[bar], (beside[0], beside[1] + 7), "middle", 18)


def _hues(matrix: str) -> Pixels:
    """A soft colour for each place of the vectorscope: its own hue at even lightness."""
    line = np.linspace(-_CHROMA_REACH, _CHROMA_REACH, _DISC.width)
    cb, cr = np.meshgrid(line, -line)
    # Eight steps a side keep the file small.
    cb, cr = np.round(cb * 8) / 8, np.round(cr * 8) / 8
    ycc = np.stack([np.full_like(cb, 0.82), cb * 0.45, cr * 0.45], axis=-1)
    rgb = np.clip(ycc @ ycc_to_rgb(matrix).T, 0.0, 1.0)
    return np.rint(rgb * 255).astype(np.uint8)
