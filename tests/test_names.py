"""Names of others: shown without doing anything, kept without loss, made short enough to type."""

from __future__ import annotations

import os
import unicodedata

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from evenhand.names import (
    LONGEST_ID,
    MOST_BYTES,
    brief,
    cells,
    kept_path,
    real_path,
    short_ids,
    short_name,
    shown,
)

# What Linux allows in a name (path_resolution(7)): every byte but a slash and a zero.
NAMES = st.binary(min_size=1, max_size=255).map(
    lambda data: os.fsdecode(data.replace(b"/", b"_").replace(b"\0", b"_"))
)
TEXTS = st.text(st.characters(exclude_characters="\0"))
# Those that Unicode's technical report 36 and its bidirectional algorithm (UAX 9) warn of.
BIDI = "\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"


@pytest.mark.parametrize(
    ("name", "seen"),
    [
        ("A\x1b[31m", r"A\x1b[31m"),
        ("A\x9b31m", r"A\u009b31m"),
        ("A\x7f\n\t", r"A\x7f\x0a\x09"),
        (os.fsdecode(b"A\xff01"), r"A\xff01"),
        ("A\u202e10", r"A\u202e10"),
        ("a\u200bb\ufeff", r"a\u200bb\ufeff"),
        ("a\u2028b\u2029", r"a\u2028b\u2029"),
        ("\ud800", r"\ud800"),
        ("\U000e0041", r"\U000e0041"),
        ("Küche 3 日本 é\u00a0½", "Küche 3 日本 é\u00a0½"),
        (r"C:\x1b", r"C:\x1b"),
    ],
)
def test_what_has_no_picture_is_an_escape(name: str, seen: str) -> None:
    """Controls, bytes that are no UTF-8, bidi marks, zero widths; letters and blanks stay."""
    assert shown(name) == seen


@given(st.one_of(NAMES, TEXTS))
@example(BIDI)
def test_what_is_shown_is_harmless_and_stays(name: str) -> None:
    """No sign of Unicode's categories C, Zl or Zp is left, and showing twice changes nothing."""
    seen = shown(name)

    assert not {unicodedata.category(c) for c in seen} & {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}
    assert shown(seen) == seen
    seen.encode("utf-8")


@given(st.one_of(NAMES, TEXTS))
@example(r"\x1b")
@example("\\\x1b")
@example(r"\x5cx1b")
@example(r"\U99999999\x41\x00")
def test_a_kept_path_leads_back(name: str) -> None:
    """Any name comes back, that of a backslash and letters too."""
    assert real_path(kept_path(name)) == name
    assert shown(kept_path(name)) == kept_path(name)


@given(TEXTS)
def test_no_escape_leads_elsewhere(text: str) -> None:
    """A document that a person wrote has as many slashes, dots and zeros as its paths show."""
    for sign in "/.\0":
        assert real_path(rf"\x{ord(sign):02x}\u{ord(sign):04x}{text}").count(sign) == text.count(
            sign
        )


@given(st.lists(st.one_of(NAMES, TEXTS.filter(bool)), unique=True, max_size=8))
@example(["A.mov", "a.mov", "x/A.mov"])
@example([os.fsdecode(b"A\xff.mov"), os.fsdecode(b"A\xfe.mov"), "A_.mov"])
@example(["con.mov", "-rf.mov", "$(x).mov", ". .mov", "x" * 250])
def test_ids_are_short_different_and_typeable(names: list[str]) -> None:
    """Names of files of any system: those that Windows' naming rules exclude are never made.

    (Naming Files, Paths, and Namespaces, in the documentation of the Windows file systems.)
    """
    ids = short_ids([kept_path(name) for name in names])

    assert len(ids) == len(names)
    masters = {i.replace("/", "_").casefold() for i in ids.values()}
    assert len(masters) == len(names)
    for ident in ids.values():
        assert cells(ident) <= LONGEST_ID + 3  # a number may follow
        assert len(f".{ident}.a-long-name-of-a-spec.mp4".encode()) <= 255
        assert shown(ident) == ident
        assert not set(ident) & set('<>:"|?*\\$`;&\n')
        assert not ident.startswith("-")
        assert ident == ident.strip()
        assert not ident.endswith(".")


@pytest.mark.parametrize(
    ("name", "short"),
    [
        ("A001_oven wide (2)", "A001_oven wide (2)"),
        ("oven/A001", "oven/A001"),
        ("A\x1b[31m\u202e1", "A_[31m_1"),
        ("cafe\u0301", "café"),
        ("nul", "_nul"),
        ("-v", "_v"),
        ("\u202e", "_"),
    ],
)
def test_a_short_name_is_the_name_where_it_can_be(name: str, short: str) -> None:
    """Only what is not wanted is another sign."""
    assert short_name(name) == short


def test_long_names_keep_their_beginning_and_differ() -> None:
    """Two names of 250 letters that differ at their end alone get different ids."""
    names = ["take " + "x" * 244 + end for end in "ab"]
    ids = short_ids([f"{name}.mov" for name in names])

    assert len(set(ids.values())) == 2
    for ident in ids.values():
        assert ident.startswith("take xxx")
        assert cells(ident) <= LONGEST_ID
    zalgo = short_name("a" + "\u0301" * 500)
    assert len(zalgo.encode()) <= MOST_BYTES


@given(TEXTS, st.integers(8, 80))
def test_what_is_brief_keeps_both_ends(text: str, most: int) -> None:
    """Never longer than asked, whole where it is short."""
    short = brief(text, most)

    assert len(short) <= most
    assert short == text if len(text) <= most else short[0] + short[-1] == text[0] + text[-1]
