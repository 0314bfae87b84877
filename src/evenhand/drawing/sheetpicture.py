"""A page as a picture: two pixels a point, on a dark ground."""

from __future__ import annotations

from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from evenhand.drawing.model import Picture
from evenhand.drawing.sheetpages import Box, Page, Placed, Tone, Words

Pixels = NDArray[np.uint8]

_SCALE: Final = 2.0
_GROUND: Final = (29, 29, 29)
_TONES: Final[dict[Tone, tuple[int, int, int]]] = {
    "ink": (239, 239, 239),
    "quiet": (182, 182, 182),
    "warn": (232, 196, 104),
    "fail": (255, 154, 133),
    "mat": (89, 89, 89),
    "hair": (61, 61, 61),
}
_PLAIN, _BOLD = 400, 700


def page_png(page: Page) -> bytes:
    """The page as PNG, 8-bit sRGB."""
    size = round(page.height * _SCALE), round(page.width * _SCALE), 3
    pixels = np.empty(size, np.uint8)
    pixels[:] = _GROUND
    for item in page.items:
        if isinstance(item, Box):
            left, top, right, bottom = _edges(item)
            pixels[top:bottom, left:right] = _TONES[item.tone]
        elif isinstance(item, Placed):
            _paste(pixels, item)
        else:
            _letter(pixels, item)
    done, data = cv2.imencode(".png", pixels[..., ::-1], [cv2.IMWRITE_PNG_COMPRESSION, 6])
    if not done:
        raise ValueError(f"a page of {size} cannot be coded")
    return bytes(data)


def pixels_of(picture: Picture) -> Pixels:
    """R, G, B pixels of an encoded picture."""
    found = cv2.imdecode(np.frombuffer(picture.data, np.uint8), cv2.IMREAD_COLOR_RGB)
    if found is None:
        raise ValueError(f"no picture in {len(picture.data)} bytes of {picture.mime}")
    return np.asarray(found, np.uint8)


def line_pixels(
    words: Words, scale: float, ink: tuple[int, ...], ground: tuple[int, ...]
) -> Pixels:
    """One line of text as a picture, its baseline at three quarters of its height."""
    size = round(words.size * scale)
    high = 2 * size
    wide = max(1, round(1.3 * size * len(words.text)))
    pixels = np.empty((high, wide, 3), np.uint8)
    pixels[:] = ground
    font = cv2.FontFace("sans")
    weight = _BOLD if words.bold else _PLAIN
    box = cv2.getTextSize((wide, high), words.text, (0, 0), font, size, weight)
    cv2.putText(pixels, words.text, (0, round(0.75 * high)), ink, font, size, weight)
    return np.ascontiguousarray(pixels[:, : max(1, min(wide, box[2] + 2))])


def _letter(pixels: Pixels, words: Words) -> None:
    size, weight = round(words.size * _SCALE), _BOLD if words.bold else _PLAIN
    at = round(words.x * _SCALE), round(words.y * _SCALE)
    font = cv2.FontFace("sans")
    cv2.putText(pixels, words.text, at, _TONES[words.tone], font, size, weight)


def _paste(pixels: Pixels, item: Placed) -> None:
    left, top, right, bottom = _edges(item)
    picture = pixels_of(item.picture)
    smaller = right - left < picture.shape[1]
    how = cv2.INTER_AREA if smaller else cv2.INTER_LINEAR
    pixels[top:bottom, left:right] = cv2.resize(
        picture, (right - left, bottom - top), interpolation=how
    )


def _edges(item: Box | Placed) -> tuple[int, int, int, int]:
    """Left, top, right, bottom in pixels."""
    ends = (item.x, item.y, item.x + item.width, item.y + item.height)
    left, top, right, bottom = (round(end * _SCALE) for end in ends)
    return left, top, max(right, left + 1), max(bottom, top + 1)
