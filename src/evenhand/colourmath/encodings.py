"""How code values mean light: transfer, primaries, matrix and range, by name."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import TYPE_CHECKING, Final, Literal

import msgspec

from evenhand.errors import UsageError

if TYPE_CHECKING:
    from evenhand.colourmath.transfers import Transfer

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


# Matrix and range are what such files usually carry; a clip's own tags may replace them. Matrices
# of the camera logs are common practice, no source.
_ROWS: Final = (
    Encoding("phone-log-1", "phone-log", "bt2020", "bt2020", "narrow"),
    Encoding("phone-log-2", "phone-log", "phone-wide", "bt2020", "narrow"),
    Encoding("hlg", "hlg", "bt2020", "bt2020", "narrow"),
    Encoding("pq", "pq", "bt2020", "bt2020", "narrow"),
    Encoding("bt709", "bt1886", "bt709", "bt709", "narrow"),
    Encoding("bt2020-sdr", "bt1886", "bt2020", "bt2020", "narrow"),
    Encoding("p3-sdr", "bt1886", "p3-d65", "bt709", "narrow"),
    Encoding("bt601-625", "bt1886", "bt601-625", "bt601", "narrow"),
    Encoding("bt601-525", "bt1886", "bt601-525", "bt601", "narrow"),
    Encoding("srgb", "srgb", "bt709", "rgb", "full"),
    Encoding("slog3", "slog3", "s-gamut3", "bt709", "narrow"),
    Encoding("slog3-cine", "slog3", "s-gamut3-cine", "bt709", "narrow"),
    Encoding("logc3", "logc3", "logc3-gamut", "bt709", "narrow"),
    Encoding("logc4", "logc4", "logc4-gamut", "bt709", "narrow"),
    Encoding("vlog", "vlog", "v-gamut", "bt709", "narrow"),
    Encoding("clog2", "clog2", "cinema-gamut", "bt709", "narrow"),
    Encoding("clog3", "clog3", "cinema-gamut", "bt709", "narrow"),
    Encoding("log3g10", "log3g10", "log3g10-gamut", "bt709", "narrow"),
    Encoding("acescct", "acescct", "ap1", "rgb", "full"),
    Encoding("acescg", "linear", "ap1", "rgb", "full"),
)
ENCODINGS: Final[Mapping[str, Encoding]] = MappingProxyType({row.name: row for row in _ROWS})


def named(name: str) -> Encoding:
    """The encoding of that name; UsageError with the list of names if there is none."""
    try:
        return ENCODINGS[name]
    except KeyError:
        raise UsageError(
            name, "no encoding has this name", f"Choose one of: {', '.join(ENCODINGS)}"
        ) from None


# Transfers that describe a display: what is read without arrays. `transfers` says the same.
DISPLAY_TRANSFERS: Final = frozenset({"bt1886", "srgb"})


def is_display(encoding: Encoding) -> bool:
    """Whether an encoding describes a display instead of scene light."""
    return encoding.transfer in DISPLAY_TRANSFERS


def transfer_of(encoding: Encoding) -> Transfer:
    """The transfer of an encoding; use it with `encoding.range`."""
    # Here, not above: the record is read by the command line, which must start without NumPy.
    from evenhand.colourmath.transfers import TRANSFERS

    return TRANSFERS[encoding.transfer]
