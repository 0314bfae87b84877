"""The numbers of a text, by compiled code where there are many, and without it where few."""

from __future__ import annotations

import re
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

# As evenhand.kernels.numbers has them.
FINE, NO_NUMBER, SURPLUS, TOO_LARGE = range(4)

# Up to 10³ rows Python is done long before the compiled code would be loaded.
_FEW_BYTES: Final = 1 << 15
_TOKEN: Final = re.compile(rb"#[^\r\n]*|[^ \t\r\n#]+")
_NUMBER: Final = re.compile(rb"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?")


class Parsed(NamedTuple):
    """How many numbers were read, and where and why it stopped (FINE: at the end of the text)."""

    numbers: int
    position: int
    reason: int


def parse_numbers(text: bytes, start: int, out: NDArray[np.float64], limit: float) -> Parsed:
    """Read the numbers of `text` from byte `start` on into `out` (n,); # starts a comment.

        number = [+-] digits [. digits] [e [+-] 1 to 3 digits]  |  [+-] . digits [e …]

    Stops at the first thing that is no number, at a number more than `out` holds, and at a
    magnitude above `limit`. Both ways read the same grammar; numbers of up to 15 digits are the
    same to the bit.
    """
    if len(text) - start <= _FEW_BYTES:
        return parse_plainly(text, start, out, limit)
    # Here, not above: loading the compiler takes longer than reading a small file.
    from evenhand.kernels.numbers import parse

    return Parsed(*parse(text, start, out, limit))


def parse_plainly(text: bytes, start: int, out: NDArray[np.float64], limit: float) -> Parsed:
    """The same without compiled code."""
    count = 0
    for token in _TOKEN.finditer(text, start):
        word = token[0]
        if word.startswith(b"#"):
            continue
        if count >= out.size:
            return Parsed(count, token.start(), SURPLUS)
        if not _NUMBER.fullmatch(word):
            return Parsed(count, token.start(), NO_NUMBER)
        value = float(word)
        if not abs(value) <= limit:
            return Parsed(count, token.start(), TOO_LARGE)
        out[count] = value
        count += 1
    return Parsed(count, len(text), FINE)
