"""ITU-T H.273 code points and our names for them, both ways.

A code point that is missing here has no meaning for us: 2 says "unspecified", and no code exists
for any camera log. H.273 transfers 1, 6, 14 and 15 are one curve, shown by BT.1886.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final, NamedTuple

from evenhand.colourmath.encodings import Encoding

UNSPECIFIED: Final = 2

PRIMARIES_BY_CODE: Final[Mapping[int, str]] = MappingProxyType(
    {
        1: "bt709",
        5: "bt601-625",
        6: "bt601-525",
        7: "bt601-525",
        9: "bt2020",
        12: "p3-d65",
        22: "ebu3213",
    }
)
TRANSFER_BY_CODE: Final[Mapping[int, str]] = MappingProxyType(
    {
        1: "bt1886",
        6: "bt1886",
        8: "linear",
        13: "srgb",
        14: "bt1886",
        15: "bt1886",
        16: "pq",
        18: "hlg",
    }
)
MATRIX_BY_CODE: Final[Mapping[int, str]] = MappingProxyType(
    {0: "rgb", 1: "bt709", 5: "bt601", 6: "bt601", 9: "bt2020"}
)


class CodePoints(NamedTuple):
    """What a file is tagged with."""

    primaries: int
    transfer: int
    matrix: int
    full_range: bool


def _code(table: Mapping[int, str], name: str) -> int:
    return next((code for code, ours in table.items() if ours == name), UNSPECIFIED)


def code_points(encoding: Encoding) -> CodePoints:
    """The tags a file in this encoding should carry; 2 where H.273 has no code."""
    transfer = _code(TRANSFER_BY_CODE, encoding.transfer)
    if encoding.transfer == "bt1886" and encoding.primaries == "bt2020":
        transfer = 14
    elif encoding.transfer == "bt1886" and encoding.matrix == "bt601":
        transfer = 6
    matrix = _code(MATRIX_BY_CODE, encoding.matrix)
    if encoding.matrix == "bt601" and encoding.primaries == "bt601-525":
        matrix = 6
    primaries = _code(PRIMARIES_BY_CODE, encoding.primaries)
    return CodePoints(primaries, transfer, matrix, encoding.range == "full")
