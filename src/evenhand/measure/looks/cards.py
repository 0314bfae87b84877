"""Made pictures that a look is judged on beside scenes: ramps, skins, and the 24-patch chart.

Display signal (h, w, 3) of a BT.709 display, 0..1. Nothing in them comes from a camera.
"""

from __future__ import annotations

from functools import cache
from typing import Final

import numpy as np

from evenhand.colourmath.primaries import rgb_to_rgb
from evenhand.grade.uniform import GAMMA, lab_to_light
from evenhand.measure.chart import COLUMNS, ROWS, published_light
from evenhand.measure.looks.probes import Floats, polar, skin_signal

WIDTH, HEIGHT = 480, 144
_SURROUND: Final = 0.16
_GAP: Final = 6
# Lightness and chroma (Oklab) of the hue sweeps: pastel, middle, and deep enough for cloth.
_SWEEPS: Final = ((0.82, 0.06), (0.66, 0.10), (0.42, 0.08))
_SKY: Final = ((0.16, 0.38, 0.72), (0.86, 0.92, 0.97))


@cache
def ramps() -> Floats:
    """From the top: greys, three sweeps of hue from red through yellow to red, a sky."""
    along = np.linspace(0.0, 1.0, WIDTH)
    grey = np.repeat(along[:, None], 3, axis=1)
    hue = np.radians(20.0 + 360.0 * along)
    sweeps = [_inside(lab_to_light(polar(level, far, hue))) for level, far in _SWEEPS]
    sky = np.array(_SKY[0]) + along[:, None] * (np.array(_SKY[1]) - np.array(_SKY[0]))
    rows = (grey, grey, *sweeps, sky)
    return _kept(np.concatenate([np.repeat(row[None], HEIGHT // len(rows), 0) for row in rows]))


@cache
def skins() -> Floats:
    """Measured skins, dark to light, at the health test's three levels of light."""
    levels = skin_signal()  # (levels, skins, 3)
    return _kept(_tiles(levels[::-1], gap=0))


@cache
def chart() -> Floats:
    """The published 24-patch chart under D65; what the display cannot show is cut."""
    light = published_light() @ rgb_to_rgb("bt2020", "bt709").T
    return _kept(_tiles(_inside(light).reshape(ROWS, COLUMNS, 3), gap=_GAP))


def _tiles(colours: Floats, gap: int) -> Floats:
    """Patches (rows, columns, 3) with a dark gap about each."""
    rows, columns = colours.shape[:2]
    picture = np.full((HEIGHT, WIDTH, 3), _SURROUND)
    across = np.linspace(gap, WIDTH, columns + 1).round().astype(int)
    down = np.linspace(gap, HEIGHT, rows + 1).round().astype(int)
    for r in range(rows):
        for c in range(columns):
            spot = slice(down[r], down[r + 1] - gap), slice(across[c], across[c + 1] - gap)
            picture[spot] = colours[r, c]
    return picture


def _inside(light: Floats) -> Floats:
    result: Floats = np.clip(light, 0.0, 1.0) ** (1.0 / GAMMA)
    return result


def _kept(picture: Floats) -> Floats:
    picture.setflags(write=False)
    return picture
