"""The spaces that a look can be made for, by name.

Every encoding is one, under its own name; `bt709-display` is the signal of a BT.709 display. The
published curves of some camera logs are functions of the code over all codes (code/1023), and most
tables for them are made so: `NAME-full` is that space, `NAME` the signal that is 0 at code 64 and 1
at code 940, as such clips are decoded.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from types import MappingProxyType
from typing import Final, Protocol

import msgspec

from evenhand.colourmath.encodings import ENCODINGS, Encoding
from evenhand.colourmath.transfers import TRANSFERS
from evenhand.errors import UsageError

DISPLAY: Final = "bt709-display"
_FULL: Final = "-full"


def _all() -> dict[str, Encoding]:
    spaces = {DISPLAY: ENCODINGS["bt709"]}
    for name, encoding in ENCODINGS.items():
        spaces[name] = encoding
        is_of_codes = TRANSFERS[encoding.transfer].code_scale == "code"
        if is_of_codes and encoding.range == "narrow":
            spaces[name + _FULL] = msgspec.structs.replace(encoding, range="full")
    del spaces["bt709"]
    return spaces


SPACES: Final[Mapping[str, Encoding]] = MappingProxyType(_all())


def space_named(name: str) -> Encoding:
    """How signal of that space means light; UsageError with the nearest names if there is none."""
    try:
        return SPACES[name]
    except KeyError:
        near = difflib.get_close_matches(name.strip().lower().replace(" ", "-"), SPACES, n=1)
        guess = f"Did you mean {near[0]}? " if near else ""
        raise UsageError(
            name, "no space has this name", f"{guess}The spaces are: {', '.join(SPACES)}"
        ) from None


def is_log(space: str) -> bool:
    """Whether signal of the space is scene light on a log curve."""
    return TRANSFERS[space_named(space).transfer].kind == "log"


def is_scene(space: str) -> bool:
    """Whether signal of the space is scene light (log or linear), before an output transform."""
    return TRANSFERS[space_named(space).transfer].kind in ("log", "linear")


def is_display(space: str) -> bool:
    """Whether signal of the space is what a display shows."""
    return TRANSFERS[space_named(space).transfer].kind == "display"


class MadeForASpace(Protocol):
    """Whatever expects signal of one space."""

    @property
    def space(self) -> str: ...


def gives_of(look: MadeForASpace) -> str:
    """The space of what a look gives: the one it expects, unless it says another."""
    return str(getattr(look, "gives", look.space))
