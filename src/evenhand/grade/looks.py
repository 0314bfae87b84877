"""The looks that evenhand brings, and the mixing of any look with the picture as it came.

Each is a document beside the package's code (`evenhand/looks/NAME.toml`), read by the package's own
loader, as code is, when it is first asked for.
"""

from __future__ import annotations

import difflib
import pkgutil
from collections.abc import Iterator, Mapping
from functools import cache
from typing import Final, Protocol

import numpy as np

from evenhand.colourmath.curves import Array
from evenhand.errors import UsageError
from evenhand.grade.recipe import DISPLAY, Recipe, parse

SPACE: Final = DISPLAY
# In the order of a list: everyday, warm, cool, soft, rich, quiet, and black and white.
NAMES: Final = (
    *("wheat", "orchard", "flour", "oven-light", "parchment"),
    *("daybreak", "small-hours", "ironstone", "rye", "soot"),
)


class Look(Protocol):
    """A look of any kind: a space it is made for, and a function on signal of that space."""

    @property
    def name(self) -> str: ...

    @property
    def title(self) -> str: ...

    @property
    def purpose(self) -> str: ...

    @property
    def space(self) -> str: ...

    @property
    def is_neutral(self) -> bool:
        """Greys stay grey; where it is False the look tints them on purpose."""
        ...

    @property
    def moves(self) -> tuple[str, ...]:
        """What the look does, in words and numbers."""
        ...

    def apply(self, signal: Array) -> Array:
        """Signal (..., 3) to signal of the same shape."""
        ...


class _Shipped(Mapping[str, Recipe]):
    """The documents by name, each read when it is first asked for."""

    def __getitem__(self, name: str) -> Recipe:
        if name not in NAMES:
            raise KeyError(name)
        return _shipped(name)

    def __iter__(self) -> Iterator[str]:
        return iter(NAMES)

    def __len__(self) -> int:
        return len(NAMES)


@cache
def _shipped(name: str) -> Recipe:
    document = pkgutil.get_data("evenhand", f"looks/{name}.toml")
    if document is None:  # a loader that carries no data: not of any installation we make
        raise UsageError(name, "the documents of the looks are missing", "Install evenhand again")
    return parse(document.decode("utf-8"), f"looks/{name}.toml")


LOOKS: Final[Mapping[str, Recipe]] = _Shipped()


def look_named(name: str) -> Recipe:
    """The look of that name; UsageError with the names, and the nearest, if there is none."""
    try:
        return LOOKS[name]
    except KeyError:
        near = difflib.get_close_matches(name.strip().lower().replace(" ", "-"), LOOKS, n=1)
        guess = f"Did you mean {near[0]}? " if near else ""
        known = ", ".join(LOOKS)
        raise UsageError(name, "no look has this name", f"{guess}The looks are: {known}") from None


def blend(signal: Array, look: Look, strength: float) -> Array:
    """signal + strength · (look(signal) − signal), in the signal of the look's space.

    `strength` 0..1 (UsageError beyond). 0 gives the signal itself, bit by bit, and 1 the look.
    """
    if not 0.0 <= strength <= 1.0:
        raise UsageError(
            f"strength {strength:g}", "is outside 0 to 1", "Give a strength from 0 % to 100 %"
        )
    values = np.asarray(signal, np.float64)
    if strength == 0.0:
        return values
    looked = look.apply(values)
    return looked if strength == 1.0 else values + strength * (looked - values)
