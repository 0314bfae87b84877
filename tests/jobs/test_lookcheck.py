"""A look is checked, and its page written."""

from __future__ import annotations

from pathlib import Path

import pytest

from evenhand.errors import EvenhandError, UsageError
from evenhand.grade.looks import LOOKS
from evenhand.grade.tables import TableLook, lattice_of
from evenhand.jobs.lookcheck import check_look, write_page
from evenhand.luts.tables import Table3D
from evenhand.measure.looks.health import health_of_look


def test_a_look_and_its_table_are_checked_alike() -> None:
    """The same figures, but for what a table alone cannot tell: its error is estimated."""
    look = LOOKS["rye"]
    table = TableLook(name="rye", three=Table3D(lattice_of(look, 33)))
    exact, read = (check_look(each).health.strengths[-1] for each in (look, table))

    for key in ("slope_max", "kept", "card", "skin_turn", "skin_shift", "hue_speed"):
        assert read.value(key) == pytest.approx(exact.value(key), rel=0.03, abs=0.05), key


def test_strengths_are_those_asked_for() -> None:
    """And the traces go with them."""
    checked = check_look(LOOKS["rye"], 17, (0.3, 0.9))

    assert [part.strength for part in checked.health.strengths] == [0.3, 0.9]
    assert [each.strength for each in checked.traces] == [0.3, 0.9]
    assert checked.health == health_of_look(LOOKS["rye"], 17, (0.3, 0.9))


def test_the_page_is_written_whole(tmp_path: Path) -> None:
    """And replaces one that is there."""
    target = tmp_path / "rye.html"
    target.write_text("old")
    write_page(check_look(LOOKS["rye"]), target)

    assert target.read_text("utf-8").startswith("<!doctype html>")
    assert target.read_text("utf-8").endswith("</html>")
    assert list(tmp_path.iterdir()) == [target]


def test_a_folder_that_is_not_there_is_said(tmp_path: Path) -> None:
    """With the file's name."""
    with pytest.raises(EvenhandError, match="nowhere"):
        write_page(check_look(LOOKS["rye"]), tmp_path / "nowhere" / "rye.html")


def test_an_unknown_space_is_said() -> None:
    """A look that expects something without a name cannot be measured."""
    with pytest.raises(UsageError, match="no space has this name"):
        check_look(TableLook(name="x", space="nosuch", three=Table3D(lattice_of(LOOKS["rye"], 5))))
