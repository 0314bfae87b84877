"""Pictures from files: PNG, JPEG and TIFF of 8 or 16 bits as display signal.

Codes are taken as the signal of a BT.709 display, full range, as stills are written. A PNG that
says that it is HLG or PQ is refused: its codes mean another light.
"""

from __future__ import annotations

from pathlib import Path
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from evenhand.errors import UsageError
from evenhand.smallfiles import read_small

MAX_BYTES: Final = 500 << 20
_MOST_PIXELS: Final = 120_000_000
_HEADS: Final = (b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff", b"II*\x00", b"MM\x00*")
_HDR: Final = (16, 18)  # H.273 transfers PQ and HLG
_REMEDY: Final = "Give a PNG, JPEG or TIFF of the picture as a BT.709 display shows it"


def read_picture(path: Path) -> NDArray[np.float32]:
    """The display signal (h, w, 3), 0..1, upright. UsageError for what is no such picture."""

    def refused(found: str) -> UsageError:
        return UsageError(path, found, _REMEDY)

    data = read_small(path, MAX_BYTES, refused, _no_picture)
    if _transfer(data) in _HDR:
        raise UsageError(path, "it says that it is an HLG or PQ picture", _REMEDY)
    codes = _decoded(data)
    if codes is None or codes.dtype not in (np.uint8, np.uint16):
        raise UsageError(path, "it does not decode to 8 or 16 bits a channel", _REMEDY)
    if codes.shape[0] * codes.shape[1] > _MOST_PIXELS:
        raise UsageError(path, f"it has {codes.shape[1]} x {codes.shape[0]} pixels", _REMEDY)
    top = np.float32(255 if codes.dtype == np.uint8 else 65535)
    return np.ascontiguousarray(codes[..., ::-1].astype(np.float32) / top)


def _no_picture(head: bytes) -> str:
    return "" if head.startswith(_HEADS) else "it is no picture that is read here"


def _decoded(data: bytes) -> NDArray[np.generic] | None:
    try:
        found = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR | cv2.IMREAD_ANYDEPTH)
    except cv2.error:
        return None
    return None if found is None else np.asarray(found)


def _transfer(data: bytes) -> int | None:
    """The transfer of a PNG's cICP chunk, which stands before the picture's data."""
    place = data[: 1 << 16].find(b"cICP")
    if not data.startswith(_HEADS[0]) or place < 0 or place + 6 > len(data):
        return None
    return data[place + 5]
