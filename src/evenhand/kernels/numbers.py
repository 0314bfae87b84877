"""Decimal numbers of a text, parsed in one pass: bytes in, float64 out.

    number = [+-] digits [. digits] [e [+-] 1 to 3 digits]  |  [+-] . digits [e …]

Blanks and line ends stand between numbers; # starts a comment that ends with its line. Nothing else
is a number: no nan, inf, hexadecimal, underscore or decimal comma.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from evenhand.kernels.compiling import exact_kernel

FINE: Final = 0
"""The text ended."""
NO_NUMBER: Final = 1
SURPLUS: Final = 2
TOO_LARGE: Final = 3

# The powers of ten that a double holds exactly.
_TENS: Final = np.array([float(f"1e{power}") for power in range(23)])


def parse(text: bytes, start: int, out: NDArray[np.float64], limit: float) -> tuple[int, int, int]:
    """Read the numbers of `text` from byte `start` on into `out` (n,), which they must not exceed.

    Up to 15 digits and a power of ten of at most 22 each is the correctly rounded double; beyond
    that within a few units in the last place. Stops at the first thing that is no number, at a
    number more than `out` holds, and at a magnitude above `limit`: how many were read, where and
    why it stopped.
    """
    count, place, reason = _parse(np.frombuffer(text, np.uint8), start, out, limit)
    return count, place, reason


@exact_kernel
def _parse(text, start, out, limit):  # type: ignore[no-untyped-def]
    i, n, size = start, 0, text.size
    while True:
        i = _after_blanks(text, i)
        if i >= size:
            return n, i, FINE
        if n >= out.size:
            return n, i, SURPLUS
        first = i
        i, value = _number(text, i)
        if i < 0 or not _ends(text, i):
            return n, first, NO_NUMBER
        if not abs(value) <= limit:
            return n, first, TOO_LARGE
        out[n] = value
        n += 1


@exact_kernel
def _after_blanks(text, i):  # type: ignore[no-untyped-def]
    """Past blanks, line ends and comments."""
    size = text.size
    while i < size:
        c = text[i]
        if c == 35:  # "#"
            while i < size and text[i] != 10 and text[i] != 13:
                i += 1
        elif c == 32 or c == 10 or c == 9 or c == 13:
            i += 1
        else:
            break
    return i


@exact_kernel
def _ends(text, i):  # type: ignore[no-untyped-def]
    if i >= text.size:
        return True
    c = text[i]
    return c == 32 or c == 10 or c == 9 or c == 13 or c == 35


@exact_kernel
def _number(text, i):  # type: ignore[no-untyped-def]
    """The place after the number that begins at `i`, and its value; place -1 where there is none.

    Mantissa and power are kept as whole numbers, and one exact multiplication or division by a
    power of ten makes the value.
    """
    size = text.size
    negative = text[i] == 45
    if negative or text[i] == 43:
        i += 1
    mantissa, power, kept, digits = 0, 0, 0, 0
    point = False
    while i < size:
        c = text[i]
        if 48 <= c <= 57:
            digits += 1
            if kept < 18:
                mantissa = mantissa * 10 + (c - 48)
                power -= point
                kept += mantissa > 0
            elif not point:
                power += 1
        elif c == 46 and not point:
            point = True
        else:
            break
        i += 1
    if digits == 0:
        return -1, 0.0
    if i < size and (text[i] == 101 or text[i] == 69):
        i, exponent = _exponent(text, i + 1)
        power += exponent
    value = _scaled(mantissa, power)
    return i, -value if negative else value


@exact_kernel
def _exponent(text, i):  # type: ignore[no-untyped-def]
    """The place after one to three digits and their value; place -1 where they are not there."""
    size = text.size
    negative = i < size and text[i] == 45
    if i < size and (text[i] == 45 or text[i] == 43):
        i += 1
    value, digits = 0, 0
    while i < size and 48 <= text[i] <= 57 and digits < 4:
        value = value * 10 + (text[i] - 48)
        digits += 1
        i += 1
    if digits < 1 or digits > 3:
        return -1, 0
    return i, -value if negative else value


@exact_kernel
def _scaled(mantissa, power):  # type: ignore[no-untyped-def]
    if mantissa == 0:
        return 0.0
    value = float(mantissa)
    if power < -300:
        return 0.0 if power < -400 else value / 1e300 / 10.0 ** (-power - 300)
    if power < 0:
        return value / _TENS[-power] if power >= -22 else value / 10.0 ** (-power)
    return value * _TENS[power] if power <= 22 else value * 10.0 ** min(power, 400)


def warm() -> Any:
    """Compile, or take the compiled code from disk, before the first file."""
    return parse(b"0", 0, np.empty(1), 1.0)
