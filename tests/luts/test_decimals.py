"""Parsing numbers, by compiled code and without it, beside Python's own."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from evenhand.kernels import numbers
from evenhand.luts import decimals
from evenhand.luts.decimals import Parsed, parse_numbers, parse_plainly

LIMIT = 65504.0


def both(text: bytes, most: int = 50) -> tuple[Parsed, np.ndarray]:
    """The compiled way, after a check that the plain one says the same."""
    plain, compiled = np.full(most, 7.0), np.full(most, 7.0)
    found = Parsed(*numbers.parse(text, 0, compiled, LIMIT))
    assert parse_plainly(text, 0, plain, LIMIT) == found
    np.testing.assert_allclose(compiled, plain, rtol=1e-15, atol=1e-320)
    return found, compiled[: found.numbers]


def test_the_reasons_are_the_same_on_both_sides():
    """The names of why reading stopped are kept twice, since one side must not load the other."""
    names = ("FINE", "NO_NUMBER", "SURPLUS", "TOO_LARGE")

    assert [getattr(decimals, n) for n in names] == [getattr(numbers, n) for n in names]


SHORT = st.decimals(-60000, 60000, allow_nan=False, places=6).map(str) | st.builds(
    "{}{}e{}".format, st.sampled_from(["", "-", "+"]), st.integers(0, 10**15), st.integers(-22, -11)
)
LONG = st.floats(-60000.0, 60000.0).map(repr)


@settings(deadline=None)
@given(st.lists(SHORT, min_size=1, max_size=50))
def test_fifteen_digits_are_pythons_to_the_bit(words):
    """Correctly rounded, where mantissa and power of ten are exact doubles."""
    found, values = both(" ".join(words).encode())

    assert found.numbers == len(words)
    assert values.tolist() == [float(word) for word in words]


@settings(deadline=None)
@given(st.lists(LONG, min_size=1, max_size=50))
def test_longer_numbers_are_pythons_within_the_last_place(words):
    """Seventeen digits, and powers of ten beyond 22."""
    _, values = both("\n".join(words).encode())

    np.testing.assert_allclose(values, [float(w) for w in words], rtol=1e-15, atol=1e-320)


@settings(deadline=None)
@given(st.text("0123456789+-.eE# \t\r\nxn,_", max_size=60))
@example("1e0000")
@example("-.5e-07#c\r.5 +1. 1e999")
@example("0e999 1e-999 5e-324 1e-310")
@example(".")
@example("9" * 400)
@example("0." + "0" * 400 + "1e401")
def test_any_text_is_read_alike_by_both(text):
    """The same numbers, the same place, the same reason."""
    both(text.encode())


@pytest.mark.parametrize(
    ("text", "found"),
    [
        (b"1 2 nan", (2, 4, decimals.NO_NUMBER)),
        (b"1 2 3 4", (3, 6, decimals.SURPLUS)),
        (b"1 -7e4", (1, 2, decimals.TOO_LARGE)),
        (b"1 1e999", (1, 2, decimals.TOO_LARGE)),
        (b"# 9\n1 2#3\r4", (3, 11, decimals.FINE)),
    ],
)
def test_it_says_where_and_why_it_stopped(text, found):
    """The byte at which the first thing begins that cannot be taken."""
    assert both(text, 3)[0] == found


def test_many_numbers_take_the_compiled_way(monkeypatch):
    """Little text must not wait for the compiler, much text must not wait for Python."""
    monkeypatch.setattr(decimals, "parse_plainly", lambda *_: pytest.fail("the plain way"))
    out = np.empty(40_000)

    assert parse_numbers(b"0.25 " * 40_000, 0, out, LIMIT) == (40_000, 200_000, decimals.FINE)
    assert (out == 0.25).all()
