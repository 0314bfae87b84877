"""Pictures for a page or a screen, from display signal.

A browser shows untagged pictures as sRGB. Signal made for a BT.1886 display (gamma 2.4) put there
as it is would look too light in the shadows, so its light is kept and coded anew.
"""

from __future__ import annotations

from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from evenhand.drawing.model import Picture

Signal = NDArray[np.floating]
Light = NDArray[np.float32]

LONGEST_SIDE: Final = 960
_JPEG_QUALITY: Final = 88
_MIME: Final = {".jpg": "image/jpeg", ".png": "image/png", ".webp": "image/webp"}
_DISPLAY_GAMMA: Final = 2.4  # BT.1886 with a black of 0 cd/m²


def to_page(signal: Signal, longest: int | None = LONGEST_SIDE) -> NDArray[np.uint8]:
    """BT.709 display signal (h, w, 3), 0..1, to 8-bit sRGB R, G, B of at most `longest` pixels.

    Values outside 0..1 are clipped. Scaling is done in light, so that fine bright detail keeps its
    brightness; a smaller picture is never enlarged.
    """
    clipped = np.clip(np.asarray(signal, np.float32), 0.0, 1.0)
    light: Light = clipped ** np.float32(_DISPLAY_GAMMA)
    height, width = light.shape[:2]
    share = 1.0 if longest is None else min(1.0, longest / max(height, width))
    if share < 1.0:
        size = (max(1, round(width * share)), max(1, round(height * share)))
        light = np.asarray(cv2.resize(light, size, interpolation=cv2.INTER_AREA), np.float32)
    pixels: NDArray[np.uint8] = np.floor(_srgb(light) * 255.0 + 0.5).astype(np.uint8)
    return pixels


def picture_jpeg(signal: Signal, longest: int | None = LONGEST_SIDE) -> Picture:
    """A JPEG of display signal (h, w, 3): for the pictures of the report."""
    flags = [
        cv2.IMWRITE_JPEG_QUALITY,
        _JPEG_QUALITY,
        cv2.IMWRITE_JPEG_SAMPLING_FACTOR,
        cv2.IMWRITE_JPEG_SAMPLING_FACTOR_422,
    ]
    return encoded(to_page(signal, longest), ".jpg", flags)


def picture_png(signal: Signal, longest: int | None = None) -> Picture:
    """A lossless PNG of display signal (h, w, 3), at its own size unless told otherwise."""
    return encoded(to_page(signal, longest), ".png")


def stamp(picture: Picture, height: int) -> Picture:
    """A small copy of a picture, `height` pixels high, as JPEG."""
    pixels = cv2.imdecode(np.frombuffer(picture.data, np.uint8), cv2.IMREAD_COLOR_RGB)
    if pixels is None:
        raise ValueError(f"no picture in {len(picture.data)} bytes of {picture.mime}")
    width = max(1, round(pixels.shape[1] * height / pixels.shape[0]))
    small = np.asarray(cv2.resize(pixels, (width, height), interpolation=cv2.INTER_AREA), np.uint8)
    return encoded(small, ".jpg", [cv2.IMWRITE_JPEG_QUALITY, 82])


def encoded(rgb: NDArray[np.uint8], suffix: str, flags: list[int] | None = None) -> Picture:
    """8-bit R, G, B pixels (h, w, 3) as a file in memory; `suffix` is ".jpg", ".png" or ".webp"."""
    done, data = cv2.imencode(suffix, np.ascontiguousarray(rgb[..., ::-1]), flags or [])
    if not done:
        raise ValueError(f"cannot encode pixels of shape {rgb.shape} as {suffix}")
    return Picture(data.tobytes(), _MIME[suffix], rgb.shape[1], rgb.shape[0])


def _srgb(light: Light) -> Light:
    """IEC 61966-2-1: light 0..1 to signal."""
    high = 1.055 * light ** np.float32(1 / 2.4) - 0.055
    return np.where(light <= 0.0031308, 12.92 * light, high).astype(np.float32)
