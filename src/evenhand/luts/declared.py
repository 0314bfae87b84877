"""What a look file says of the signal it is made for, in the words that evenhand writes."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Final, NamedTuple

_SENTENCE: Final = re.compile(r"expects ([a-z0-9-]{2,40}), gives ([a-z0-9-]{2,40})\b")


class Declared(NamedTuple):
    """The names of the spaces a look expects and gives."""

    space: str
    gives: str


def sentence(space: str, gives: str) -> str:
    """The line that a written file carries."""
    return f"expects {space}, gives {gives}"


def declared_in(lines: Iterable[str]) -> Declared | None:
    """The first such line among comments or descriptions, or None."""
    for line in lines:
        found = _SENTENCE.search(line)
        if found:
            return Declared(found[1], found[2])
    return None
