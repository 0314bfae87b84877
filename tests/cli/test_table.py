"""Tables fit the terminal, and say what they left out."""

from __future__ import annotations

import pytest

from evenhand.cli.table import Table
from evenhand.names import cells

HEADINGS = ("clip", "codec", "sure", "why")
ROWS = (
    ("A001", "prores 4:2:2", "99 %", "the others are matched to it, and it stays as shot"),
    ("A002_oven", "hevc 4:2:0", "100 %", "661 points agree"),
)


def test_without_a_terminal_nothing_is_cut_or_left_out() -> None:
    """A pipe gets one line a row, whatever its length."""
    lines, left_out = Table(HEADINGS, ROWS, right=(2,), spare=(1,)).fitted(None)

    assert len(lines) == 2 + len(ROWS)
    assert left_out == []
    assert lines[2].endswith(ROWS[0][3])
    assert lines[3].index("100 %") + 5 == lines[2].index("99 %") + 4  # figures end together


@pytest.mark.parametrize("width", [30, 45, 60, 80, 100])
def test_no_line_is_wider_than_the_terminal(width: int) -> None:
    """Columns leave in the order given, then the last one is wrapped by words."""
    lines, left_out = Table(HEADINGS, ROWS, right=(2,), spare=(1, 2)).fitted(width)

    assert max(cells(line) for line in lines) <= width
    assert left_out == [h for h in HEADINGS if h not in lines[0].split()]


def test_wide_letters_take_two_columns() -> None:
    """A file name in full-width letters (UAX 11) keeps the columns after it in line."""
    lines, _ = Table(("clip", "rate"), [("\u83ef\u83ef", "25"), ("A001", "24")]).fitted(80)

    assert cells(lines[2][: lines[2].index("25")]) == lines[3].index("24")
