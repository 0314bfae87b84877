"""Stills: 16-bit PNG and TIFF that say what their codes mean.

A still holds the display signal, full range. For BT.709 (display BT.1886, gamma 2.4) viewers are
told three times: by code points (cICP), by gamma and chromaticities, and by an ICC profile. HLG and
PQ cannot be said by a matrix profile; those stills carry their code points alone, and a TIFF says
it in its description.
"""

from __future__ import annotations

import struct
import zlib
from pathlib import Path
from typing import Literal

import cv2
import numpy as np
import numpy.typing as npt

from evenhand.atomic import whole_file
from evenhand.colourmath.primaries import PRIMARIES
from evenhand.errors import UsageError
from evenhand.media.icc import display_profile
from evenhand.media.spec import MasterEncoding
from evenhand.media.target import check_target

Picture = npt.NDArray[np.floating]

BT1886_GAMMA = 2.4
_PNG_HEAD = b"\x89PNG\r\n\x1a\n"
# Primaries and transfer of H.273; the matrix of RGB is 0, and the range is full.
_CODE_POINTS: dict[MasterEncoding, tuple[int, int]] = {
    "bt709": (1, 1),
    "hlg": (9, 18),
    "pq": (9, 16),
}
_PRIMARIES: dict[MasterEncoding, str] = {"bt709": "bt709", "hlg": "bt2020", "pq": "bt2020"}
_TITLES: dict[MasterEncoding, str] = {
    "bt709": "BT.709 primaries, BT.1886 display (gamma 2.4)",
    "hlg": "BT.2100 HLG, BT.2020 primaries, full range",
    "pq": "BT.2100 PQ, BT.2020 primaries, full range",
}
# A picture of 16 bits hardly gets smaller with more work (measured: 2 % in twice the time).
_RUNS = cv2.IMWRITE_PNG_STRATEGY_RLE


def write_still(
    target: Path, signal: Picture, encoding: MasterEncoding = "bt709", *, overwrite: bool = False
) -> None:
    """Write a display signal (h, w, 3), 0..1, as `target`, whole or not at all.

    The suffix decides: .png, .tif or .tiff. What lies outside 0..1 is clipped. Raises UsageError
    for another suffix and TargetError where the place cannot take it.
    """
    makers = {".png": png_bytes, ".tif": tiff_bytes, ".tiff": tiff_bytes}
    maker = makers.get(target.suffix.lower())
    if maker is None:
        raise UsageError(target, "stills are PNG or TIFF", "End the name with .png or .tif")
    check_target(target, overwrite=overwrite)
    data = maker(signal, encoding)
    check_target(target, overwrite=overwrite, needs=len(data))
    with whole_file(target) as partial:
        partial.write_bytes(data)


def png_bytes(signal: Picture, encoding: MasterEncoding = "bt709") -> bytes:
    """Return a display signal (h, w, 3), 0..1, as a PNG of 16 bits (W3C PNG, third edition)."""
    settings = [cv2.IMWRITE_PNG_COMPRESSION, 1, cv2.IMWRITE_PNG_STRATEGY, _RUNS]
    plain = _encoded(".png", codes(signal, 16)[..., ::-1], settings)
    header, *rest = _png_chunks(plain)
    chunks = [header, *_colour_chunks(encoding)]
    chunks += [chunk for chunk in rest if chunk[0] in (b"IDAT", b"IEND")]
    return _PNG_HEAD + b"".join(_png_chunk(*chunk) for chunk in chunks)


def tiff_bytes(signal: Picture, encoding: MasterEncoding = "bt709") -> bytes:
    """Return a display signal (h, w, 3), 0..1, as an uncompressed TIFF 6.0 of 16 bits."""
    pixels = codes(signal, 16).astype("<u2").tobytes()
    height, width = signal.shape[:2]
    fields: list[tuple[int, int, int, bytes]] = [
        _long(256, width),
        _long(257, height),
        (258, 3, 3, struct.pack("<3H", 16, 16, 16)),  # bits of each sample
        _short(259, 1),  # not compressed
        _short(262, 2),  # RGB
        (270, 2, len(_TITLES[encoding]) + 1, _TITLES[encoding].encode("ascii") + b"\0"),
        _long(273, 8),  # the picture stands right behind the head
        _short(274, 1),  # upright
        _short(277, 3),
        _long(278, height),  # one strip
        _long(279, len(pixels)),
        (282, 5, 1, struct.pack("<2I", 72, 1)),
        (283, 5, 1, struct.pack("<2I", 72, 1)),
        _short(284, 1),  # the samples of a pixel lie together
        _short(296, 2),  # pixels to the inch
    ]
    if encoding == "bt709":
        profile = still_profile()
        fields.append((34675, 7, len(profile), profile))
    return _tiff(pixels, fields)


def still_profile() -> bytes:
    """Return the ICC profile of BT.709 on a BT.1886 display."""
    return display_profile("bt709", BT1886_GAMMA, _TITLES["bt709"])


def codes(signal: Picture, bits: Literal[8, 16]) -> npt.NDArray[np.unsignedinteger]:
    """Return a signal as full-range codes, halves rounded up; what is outside 0..1 is clipped."""
    top = 2**bits - 1
    whole = np.floor(np.clip(signal, 0.0, 1.0) * top + 0.5)
    kind = np.uint8 if bits == 8 else np.uint16
    return np.asarray(whole, kind)


def _encoded(suffix: str, picture: npt.NDArray[np.unsignedinteger], settings: list[int]) -> bytes:
    done, data = cv2.imencode(suffix, np.ascontiguousarray(picture), settings)
    if not done:
        raise ValueError(f"a picture of {picture.shape} cannot be coded as {suffix}")
    return bytes(data)


def _colour_chunks(encoding: MasterEncoding) -> list[tuple[bytes, bytes]]:
    """What the codes mean, most exact first; readers take the first that they know."""
    row = PRIMARIES[_PRIMARIES[encoding]]
    places = [value for xy in (row.white, row.red, row.green, row.blue) for value in xy]
    chunks = [
        (b"cICP", bytes([*_CODE_POINTS[encoding], 0, 1])),
        (b"cHRM", struct.pack(">8I", *(round(100_000 * value) for value in places))),
    ]
    if encoding == "bt709":
        packed = zlib.compress(still_profile(), 9)
        chunks.insert(1, (b"iCCP", b"BT.709 BT.1886\0\0" + packed))
        chunks.append((b"gAMA", struct.pack(">I", round(100_000 / BT1886_GAMMA))))
    return chunks


def _png_chunks(data: bytes) -> list[tuple[bytes, bytes]]:
    chunks = []
    at = len(_PNG_HEAD)
    while at < len(data):
        length, kind = struct.unpack_from(">I4s", data, at)
        chunks.append((kind, data[at + 8 : at + 8 + length]))
        at += 12 + length
    return chunks


def _png_chunk(kind: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


def _short(tag: int, value: int) -> tuple[int, int, int, bytes]:
    return tag, 3, 1, struct.pack("<H", value)


def _long(tag: int, value: int) -> tuple[int, int, int, bytes]:
    return tag, 4, 1, struct.pack("<I", value)


def _tiff(pixels: bytes, fields: list[tuple[int, int, int, bytes]]) -> bytes:
    """Head, pixels, directory, and the values that do not fit into its entries (TIFF 6.0)."""
    pixels += bytes(len(pixels) % 2)
    directory = 8 + len(pixels)
    after = directory + 2 + 12 * len(fields) + 4
    entries = struct.pack("<H", len(fields))
    values = b""
    for tag, kind, count, value in fields:
        if len(value) <= 4:
            word = value.ljust(4, b"\0")
        else:
            word = struct.pack("<I", after + len(values))
            values += value + bytes(len(value) % 2)
        entries += struct.pack("<2HI", tag, kind, count) + word
    return struct.pack("<2sHI", b"II", 42, directory) + pixels + entries + bytes(4) + values
