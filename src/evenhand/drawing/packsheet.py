"""A contact sheet of looks: the same ramps, colours and skins under each, as one PNG."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from evenhand.drawing import canvas
from evenhand.grade.packtables import by_chunks

Floats = NDArray[np.float64]
Transform = Callable[[Floats], Floats]

_ACROSS: Final = 480
_GAP: Final = 28
_WORDS: Final = 44
_GREYS, _BAND, _SKIN = 40, 36, 48
# Display signal of skins from light to dark, about half of full light: drawn, not measured.
_SKINS: Final = np.array(
    [(0.86, 0.71, 0.62), (0.79, 0.61, 0.50), (0.70, 0.52, 0.41), (0.60, 0.43, 0.32),
     (0.49, 0.34, 0.25), (0.38, 0.26, 0.20), (0.29, 0.20, 0.16), (0.22, 0.16, 0.14)]
)  # fmt: skip


def contact_sheet(looks: Sequence[tuple[str, Transform]], columns: int = 3) -> bytes:
    """A PNG with the reference as it is and under each look; `looks` are titles and functions.

    The functions take display signal (n, 3), 0..1, and give it.
    """
    reference = _reference()
    tiles = [("as it is", reference)]
    for title, transform in looks:
        shown = by_chunks(transform, reference.reshape(-1, 3)).reshape(reference.shape)
        tiles.append((title, np.clip(shown, 0.0, 1.0)))
    height = _WORDS + reference.shape[0] + _GAP
    rows = -(-len(tiles) // columns)
    sheet = canvas.blank(columns * (_ACROSS + _GAP) + _GAP, rows * height + _GAP)
    for number, (title, picture) in enumerate(tiles):
        left = _GAP + (number % columns) * (_ACROSS + _GAP)
        top = _GAP + (number // columns) * height
        canvas.write(sheet, title, (left, top + _WORDS - 14))
        pixels = np.round(255.0 * picture).astype(np.uint8)
        top += _WORDS
        sheet[top : top + picture.shape[0], left : left + _ACROSS] = pixels
    good, data = cv2.imencode(".png", cv2.cvtColor(sheet, cv2.COLOR_RGB2BGR))
    if not good:
        raise RuntimeError("the contact sheet could not be coded as PNG")
    return bytes(data)


def _reference() -> Floats:
    """A grey ramp, eleven greys, hues at three lightnesses, quiet hues, and skins."""
    along = np.linspace(0.0, 1.0, _ACROSS)
    ramp = np.repeat(along[:, None], 3, axis=1)
    steps = np.repeat((np.floor(along * 10.999) / 10.0)[:, None], 3, axis=1)
    hue = 6.0 * along[:, None]
    pure = np.clip(np.abs((hue - np.array([3.0, 5.0, 1.0]) + 3.0) % 6.0 - 3.0) - 1.0, 0.0, 1.0)
    bands = [ramp, steps, pure, 0.25 + 0.6 * pure, 0.12 + 0.3 * pure, 0.42 + 0.16 * pure]
    skins = _SKINS[(along * (len(_SKINS) - 1e-9)).astype(int)]
    heights = [_GREYS, _GREYS, _BAND, _BAND, _BAND, _BAND, _SKIN]
    rows = [np.repeat(b[None], n, axis=0) for b, n in zip([*bands, skins], heights, strict=True)]
    return np.concatenate(rows)
