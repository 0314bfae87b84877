"""Any look file to a look: what is declared, and the readers of two other libraries."""

from __future__ import annotations

import hashlib

import colour
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from evenhand.grade.cdl_file import to_cdl
from evenhand.grade.clf import to_clf
from evenhand.grade.document import Cdl
from evenhand.grade.look_file import read_look
from evenhand.grade.looks import look_named
from evenhand.grade.tables import lattice_of, trilinear
from evenhand.luts.cube import CubeFile, write
from evenhand.luts.declared import Declared, declared_in, sentence
from evenhand.luts.errors import LookFileError
from evenhand.luts.tables import Table1D, Table3D

LATTICE = lattice_of(look_named("oven-light"), 9)
CUBE = write(CubeFile(three=Table3D(LATTICE), title="Oven"))
COLOURS = np.random.default_rng(6).random((400, 3))


def test_a_cube_without_a_word_is_taken_for_the_display():
    """It declares nothing, and says so; a person's word replaces that."""
    file = read_look(CUBE, "oven.cube")

    assert file.declared is None
    assert file.look_spaces == ("bt709-display", "bt709-display")
    assert file.declaring("phone-log-1", "bt709-display").look_spaces == (
        "phone-log-1", "bt709-display",
    )  # fmt: skip
    assert file.declaring("acescct").look_spaces == ("acescct", "acescct")
    assert (file.title, file.kind) == ("Oven", "cube")
    assert file.digest == hashlib.sha256(CUBE).hexdigest()


@pytest.mark.parametrize(
    ("comment", "declared"),
    [
        ("expects phone-log-1, gives bt709-display", ("phone-log-1", "bt709-display")),
        ("Expects nothing", None),
        ("expects nowhere, gives nothing", None),
    ],
)
def test_a_comment_declares_the_spaces(comment, declared):
    """In the words that evenhand writes; names that do not exist declare nothing."""
    data = write(CubeFile(three=Table3D(LATTICE), comments=("made by hand", comment)))

    assert read_look(data, "a.cube").declared == declared


def test_the_sentence_is_read_back():
    """What is written into a file is what is looked for."""
    assert declared_in(["x", sentence("acescct", "hlg")]) == Declared("acescct", "hlg")


# colour-science's general reader, within the part of the grammar that it knows; it interpolates
# trilinearly unless told otherwise, so both readings are compared.
@pytest.mark.oracle
@pytest.mark.parametrize("domain", [((0.0,) * 3, (1.0,) * 3), ((-0.1, 0.0, 0.0), (1.2, 1.0, 2.0))])
def test_colour_science_reads_the_same_table(tmp_path, domain):
    """Values, domain and order; and what both make of colours inside."""
    path = tmp_path / "oven.cube"
    path.write_bytes(write(CubeFile(three=Table3D(LATTICE, *domain), title="Oven"), digits=9))
    theirs = colour.read_LUT(str(path))
    look = read_look(path.read_bytes(), "oven.cube").look

    np.testing.assert_allclose(theirs.table.transpose(2, 1, 0, 3), look.three.values, atol=1e-12)
    np.testing.assert_allclose(theirs.domain, domain, atol=1e-12)
    for ours, interpolator in (
        (look.apply(COLOURS), colour.algebra.table_interpolation_tetrahedral),
        (look.read(COLOURS, trilinear), colour.algebra.table_interpolation_trilinear),
    ):
        expected = theirs.apply(COLOURS, interpolator=interpolator)
        np.testing.assert_allclose(ours, expected, atol=1e-9)


@pytest.mark.oracle
def test_colour_science_reads_the_same_curves(tmp_path):
    """A 1D table."""
    along = np.linspace(0.0, 1.0, 33)[:, None]
    path = tmp_path / "curves.cube"
    path.write_bytes(write(CubeFile(one=Table1D(along ** np.array([0.8, 1.0, 1.3])))))

    theirs = colour.read_LUT(str(path)).apply(COLOURS)

    ours = read_look(path.read_bytes(), "curves.cube").look.apply(COLOURS)
    np.testing.assert_allclose(ours, theirs, atol=1e-9)


SEEDS = [
    CUBE,
    write(CubeFile(one=Table1D(np.eye(3)), three=Table3D(LATTICE[:2, :2, :2]))),
    to_clf(LATTICE[:3, :3, :3], "x"),
    to_cdl([("a", Cdl())], "cc"),
    to_cdl([("a", Cdl()), ("b", Cdl(saturation=0.5))], "ccc"),
]
EDITS = st.lists(
    st.tuples(
        st.sampled_from(["cut", "drop", "twice", "put"]),
        st.floats(0.0, 1.0),
        st.binary(max_size=8)
        | st.sampled_from([b"nan", b"1e9", b"<", b"9" * 30, b"-", b"\r", b"#"]),
    ),
    min_size=1,
    max_size=4,
)


@settings(deadline=None, max_examples=150, suppress_health_check=[HealthCheck.too_slow])
@given(st.sampled_from(SEEDS), EDITS, st.sampled_from(["a.cube", "a.clf", "a.cc", "a"]))
def test_changed_files_are_read_or_refused(data, edits, name):
    """No other error than a refusal, and no look whose values are no numbers."""
    for how, where, extra in edits:
        at = int(where * len(data))
        data = {
            "cut": data[:at],
            "drop": data[:at] + data[at + 1 + len(extra) :],
            "twice": data[:at] + data[max(0, at - 40) :],
            "put": data[:at] + extra + data[at:],
        }[how]
    try:
        look = read_look(data, name).look
    except LookFileError:
        return
    assert np.isfinite(look.apply(COLOURS[:20])).all()
