"""How code values mean light: transfer, primaries, matrix and range, by name."""

from __future__ import annotations

from typing import Literal

import msgspec

Range = Literal["narrow", "full"]


class Encoding(msgspec.Struct, frozen=True):
    """One way to code a picture.

    `name` is what a person types (`phone-log-1`, `hlg`, …). `transfer` and `primaries` are keys of
    `transfers.TRANSFERS` and `primaries.PRIMARIES`; `matrix` is a key of `ycbcr.MATRICES`.
    """

    name: str
    transfer: str
    primaries: str
    matrix: str
    range: Range
