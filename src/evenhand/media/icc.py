"""A small ICC profile of a display, so that ordinary viewers show a still as the display did.

Written from ICC.1:2022 (profile version 4.4): a three-component matrix profile (clause 8.3.3) with
one parametric curve (clause 10.18, function type 0: Y = X^g) for all three channels.
"""

from __future__ import annotations

import hashlib
import struct

import numpy as np
import numpy.typing as npt

from evenhand.colourmath.adaptation import adaptation_matrix
from evenhand.colourmath.primaries import PRIMARIES, rgb_to_xyz

D50_XYZ = (0.9642, 1.0, 0.8249)  # the connection space's white, clause 7.2.16
_D50_XY = (D50_XYZ[0] / sum(D50_XYZ), D50_XYZ[1] / sum(D50_XYZ))
_VERSION = 0x04400000
_MADE = (2026, 1, 1, 0, 0, 0)  # one date, so that the same profile is the same bytes
_RELATIVE = 1  # media-relative colorimetric
_HEADER = 128
_IDENTITY_AT = slice(84, 100)
# Left out of the profile's MD5: flags, rendering intent and the place of the MD5 (clause 7.2.18).
_NOT_HASHED = (slice(44, 48), slice(64, 68), _IDENTITY_AT)


def display_profile(primaries: str, gamma: float, title: str) -> bytes:
    """Return the profile of a display with these primaries (a key of PRIMARIES) and this gamma."""
    row = PRIMARIES[primaries]
    adapt = adaptation_matrix(row.white, _D50_XY, "bradford")
    colorants = adapt @ rgb_to_xyz(primaries)
    curve = b"para" + bytes(4) + struct.pack(">2H", 0, 0) + _fixed(np.array([gamma]))
    tags = {
        b"desc": _text(title),
        b"cprt": _text("No rights reserved"),
        b"wtpt": _xyz(np.array(D50_XYZ)),
        b"chad": b"sf32" + bytes(4) + _fixed(adapt),
        b"rXYZ": _xyz(colorants[:, 0]),
        b"gXYZ": _xyz(colorants[:, 1]),
        b"bXYZ": _xyz(colorants[:, 2]),
        b"rTRC": curve,
        b"gTRC": curve,
        b"bTRC": curve,
    }
    return _with_identity(_assembled(tags))


def _assembled(tags: dict[bytes, bytes]) -> bytes:
    """Header, tag table, and the data of the tags; equal data is kept once (clause 7.3.1)."""
    table = struct.pack(">I", len(tags))
    at = _HEADER + len(table) + 12 * len(tags)
    places: dict[bytes, int] = {}
    body = b""
    for name, data in tags.items():
        if data not in places:
            places[data] = at + len(body)
            body += data + bytes(-len(data) % 4)
        table += name + struct.pack(">2I", places[data], len(data))
    size = _HEADER + len(table) + len(body)
    header = struct.pack(">2I2I4s4s", size, 0, _VERSION, 0x6D6E7472, b"RGB ", b"XYZ ")
    header += struct.pack(">6H4s", *_MADE, b"acsp") + bytes(24)
    header += struct.pack(">I", _RELATIVE) + _fixed(np.array(D50_XYZ))
    return header.ljust(_HEADER, b"\0") + table + body


def _with_identity(profile: bytes) -> bytes:
    """Put the MD5 of the profile where clause 7.2.18 has it."""
    blank = bytearray(profile)
    for part in _NOT_HASHED:
        blank[part] = bytes(part.stop - part.start)
    digest = hashlib.md5(blank, usedforsecurity=False).digest()
    return profile[: _IDENTITY_AT.start] + digest + profile[_IDENTITY_AT.stop :]


def _fixed(values: npt.NDArray[np.float64]) -> bytes:
    """Numbers as s15Fixed16 (clause 4.7)."""
    whole = np.floor(np.asarray(values).ravel() * 65536 + 0.5).astype(">i4")
    return whole.tobytes()


def _xyz(values: npt.NDArray[np.float64]) -> bytes:
    return b"XYZ " + bytes(4) + _fixed(values)


def _text(words: str) -> bytes:
    """A text in one language (clause 10.15)."""
    data = words.encode("utf-16-be")
    return b"mluc" + bytes(4) + struct.pack(">2I4s2I", 1, 12, b"enUS", len(data), 28) + data
