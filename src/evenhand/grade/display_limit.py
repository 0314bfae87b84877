"""The soft limit that keeps a look's colours inside the display: chroma alone gives way.

A colour is drawn straight towards the grey of its own luminance, in light. The cube of display
light is convex, so every such line leaves it once, and how far a colour is on its way out is known
in closed form for each face. (Along a line of constant Oklab hue it is not: in the blues such a
line grazes the face of no red, and the least change of hue moves the place where it leaves.)
"""

from __future__ import annotations

from typing import Final

import numpy as np

from evenhand.colourmath.curves import Array
from evenhand.colourmath.primaries import luminance_weights

# Colours stay as they are up to this share of the way from grey to the boundary of the display.
START: Final = 0.88
# Power of the approach: t/(1 + t^p)^(1/p) leaves the straight line with p derivatives of 0.
_APPROACH: Final = 3.0
# Power of the smooth maximum over the faces of the cube. At a corner, where three of them meet, it
# is too much by 5.6 %.
_ROUNDING: Final = 20.0
_MOST_ROUNDING: Final = 3.0 ** (1.0 / _ROUNDING)
_LEAST: Final = 1e-9


def into_display(light: Array) -> Array:
    """Light (n, 3), in 0..1 or beyond it, to light inside 0..1 of the same luminance.

    Luminance itself is cut to 0..1. Greys stay, to the last digit.
    """
    luminance = np.clip(light @ luminance_weights("bt709"), 0.0, 1.0)[:, None]
    away = light - luminance
    down = np.maximum(-away, 0.0) / np.maximum(luminance, _LEAST)
    up = np.maximum(away, 0.0) / np.maximum(1.0 - luminance, _LEAST)
    shares = np.concatenate([down, up], axis=1)
    out = luminance + away
    near = np.flatnonzero(shares.max(axis=1) * _MOST_ROUNDING > START)
    out[near] = luminance[near] + _held(_smooth_maximum(shares[near]))[:, None] * away[near]
    return np.clip(out, 0.0, 1.0)  # what _LEAST and rounding leave


def _held(share: Array) -> Array:
    """The factor on a distance from grey that is `share` of the way out."""
    over = np.maximum(share - START, 0.0) / (1.0 - START)
    held = START + (1.0 - START) * over / (1.0 + over**_APPROACH) ** (1.0 / _APPROACH)
    return np.where(share > START, held / np.maximum(share, START), 1.0)


def _smooth_maximum(shares: Array) -> Array:
    most = np.maximum(shares.max(axis=1), _LEAST)
    result: Array = most * ((shares / most[:, None]) ** _ROUNDING).sum(axis=1) ** (1 / _ROUNDING)
    return result
