"""Looks written as files: they say what they expect, read back as meant, and are the same twice."""

from __future__ import annotations

import numpy as np
import pytest

from evenhand.errors import TargetError, UsageError
from evenhand.grade import look_export
from evenhand.grade.cdl_file import CdlLook
from evenhand.grade.document import Cdl
from evenhand.grade.look_export import export_cdl, export_table
from evenhand.grade.look_file import read_look
from evenhand.grade.looks import look_named
from evenhand.grade.tables import lattice_of

SOFT = Cdl((0.95, 0.9, 0.9), (0.02, 0.01, 0.02), (1.1, 1.0, 0.95), saturation=0.9)


@pytest.mark.parametrize("kind", ["cube", "clf"])
@pytest.mark.parametrize("size", [17, 33])
def test_a_table_reads_back_as_it_was_meant(kind, size):
    """Half of the last decimal, the declared spaces, and the same bytes at a second writing."""
    look = look_named("daybreak")

    made = export_table(look, kind, size, "Daybreak", ["strength 100 %"])

    assert 0.0 < made.read_back < 1e-6
    file = read_look(made.data, f"d.{kind}")
    assert file.declared == ("bt709-display", "bt709-display")
    assert file.title == "Daybreak"
    assert made == export_table(look, kind, size, "Daybreak", ["strength 100 %"])


def test_a_cube_says_how_to_read_it():
    """The first comments: what it expects and gives, the interpolation, then the caller's."""
    made = export_table(look_named("rye"), "cube", 17, "Rye", ["recipe 0123abcd"])

    assert made.data.decode().splitlines()[:6] == [
        'TITLE "Rye"',
        "# expects bt709-display, gives bt709-display",
        "# read the table by tetrahedral interpolation",
        "# recipe 0123abcd",
        "LUT_3D_SIZE 17",
        "DOMAIN_MIN 0 0 0",
    ]


def test_other_sizes_are_not_written():
    """17, 33 and 65 are what other readers take."""
    with pytest.raises(UsageError, match="17, 33 and 65"):
        export_table(look_named("rye"), "cube", 32)


@pytest.mark.parametrize("kind", ["cc", "ccc", "cdl"])
def test_a_look_that_is_a_cdl_is_written_as_one(kind):
    """Read back within a thousandth of a code, and what is lost is said."""
    made = export_cdl(CdlLook(name="soft", cdl=SOFT), kind, "soft", bound=0.1)

    back = read_look(made.data, f"soft.{kind}").look
    expected = lattice_of(CdlLook(name="soft", cdl=SOFT), 9)
    np.testing.assert_allclose(lattice_of(back, 9), expected, atol=1e-6)
    assert "10-bit codes" in made.lost


def test_what_a_cdl_cannot_hold_is_not_written():
    """Unless somebody allows the difference."""
    with pytest.raises(UsageError, match="cannot hold"):
        export_cdl(look_named("daybreak"), "cc", "daybreak")

    made = export_cdl(look_named("daybreak"), "cc", "daybreak", bound=700.0)
    assert made.read_back > 0.1


def test_a_file_that_reads_back_otherwise_is_refused(monkeypatch):
    """A table with two digits in place of six is caught before it is given away."""
    honest = look_export.write
    monkeypatch.setattr(look_export, "write", lambda cube: honest(cube, digits=2))

    with pytest.raises(TargetError, match="differs from what was meant"):
        export_table(look_named("rye"), "cube", 17, "Rye")
