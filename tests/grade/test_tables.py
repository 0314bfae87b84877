"""Looks that are tables: how they are read, beside OpenColorIO, and where they stand in a grade."""

from __future__ import annotations

import numpy as np
import PyOpenColorIO as ocio
import pytest

from evenhand.colourmath.encodings import named, transfer_of
from evenhand.colourmath.primaries import rgb_to_rgb
from evenhand.errors import UsageError
from evenhand.grade.document import Grade, LookUse
from evenhand.grade.exact import exact_transform
from evenhand.grade.lattice import tetrahedral
from evenhand.grade.looks import look_named
from evenhand.grade.spaces import SPACES, is_display, is_log, space_named
from evenhand.grade.tables import TableLook, lattice_of, trilinear
from evenhand.luts.cube import CubeFile, write
from evenhand.luts.tables import Table1D, Table3D

RNG = np.random.default_rng(5)
COLOURS = np.concatenate([RNG.random((4000, 3)), [[1, 0, 0], [0.3, 0, 0], [0, 0, 0], [1, 1, 1]]])
INTERPOLATIONS = [
    (tetrahedral, ocio.INTERP_TETRAHEDRAL),
    (trilinear, ocio.INTERP_LINEAR),
]


def by_opencolorio(cube: CubeFile, interpolation, colours, tmp_path):
    """The same tables as a file, through the reference library, in float32."""
    path = tmp_path / f"{id(cube)}.cube"
    path.write_bytes(write(cube, digits=9))
    transform = ocio.FileTransform(str(path), interpolation=interpolation)
    processor = (
        ocio.Config.CreateRaw()
        .getProcessor(transform)
        .getOptimizedCPUProcessor(
            ocio.BIT_DEPTH_F32, ocio.BIT_DEPTH_F32, ocio.OPTIMIZATION_LOSSLESS
        )
    )
    out = colours.astype(np.float32)
    processor.applyRGB(out)
    return out


def gamma(size: int) -> Table1D:
    along = np.linspace(0.0, 1.0, size)[:, None]
    return Table1D(along ** np.array([0.8, 1.0, 1.3]))


@pytest.mark.oracle
@pytest.mark.parametrize(("reading", "interpolation"), INTERPOLATIONS)
@pytest.mark.parametrize(
    "cube",
    [
        CubeFile(three=Table3D(lattice_of(look_named("oven-light"), 17))),
        CubeFile(three=Table3D(lattice_of(look_named("daybreak"), 33))),
        CubeFile(one=gamma(64)),
        CubeFile(one=gamma(33), three=Table3D(lattice_of(look_named("rye"), 9))),
        CubeFile(three=Table3D(lattice_of(look_named("rye"), 9), (-0.25,) * 3, (1.5,) * 3)),
        CubeFile(three=Table3D(lattice_of(look_named("rye"), 9), (0.0, 0.1, 0.0), (0.9, 1.0, 2.0))),
    ],
    ids=["17", "33", "curves", "both", "range", "domain"],
)
def test_tables_mean_what_they_mean_to_opencolorio(cube, reading, interpolation, tmp_path):
    """Within 1e-6 over random colours and a pure red, which shows the order of the axes."""
    look = TableLook(name="x", one=cube.one, three=cube.three)

    expected = by_opencolorio(cube, interpolation, COLOURS, tmp_path)

    np.testing.assert_allclose(look.read(COLOURS, reading), expected, rtol=0, atol=1e-6)


def test_an_identity_table_changes_nothing():
    """At its nodes and between them, by both readings; colours beyond it stop at its end."""
    grid = np.linspace(0.0, 1.0, 5)
    blue, green, red = np.meshgrid(grid, grid, grid, indexing="ij")
    look = TableLook(name="x", three=Table3D(np.stack([red, green, blue], axis=-1)))

    for reading in (tetrahedral, trilinear):
        np.testing.assert_allclose(look.read(COLOURS, reading), COLOURS, atol=2e-16)
    beyond = look.apply(np.array([[1.5, -0.2, np.nan], [0.5, 0.5, 0.5]]))
    np.testing.assert_array_equal(beyond, [[1.0, 0.0, 0.0], [0.5, 0.5, 0.5]])


def test_a_hald_identity_is_the_identity():
    """The nodes of an 8³·8³ picture of all colours, red fastest, are where the lattice has them."""
    level = 4
    count = level**2
    step = np.arange(count**3)
    hald = np.stack([step % count, step // count % count, step // count**2], -1) / (count - 1.0)
    look = TableLook(name="x", three=Table3D(hald.reshape(count, count, count, 3)))

    np.testing.assert_allclose(look.apply(COLOURS), COLOURS, atol=2e-16)
    np.testing.assert_allclose(look.apply(hald), hald, atol=2e-16)


def test_inverse_tables_undo_each_other():
    """Curves there and back, exactly, where the way back has its nodes at the way's values."""
    there = TableLook(name="x", one=Table1D(np.array([[0.0] * 3, [0.25] * 3, [1.0] * 3])))
    back = np.interp(np.linspace(0.0, 1.0, 5), [0.0, 0.25, 1.0], [0.0, 0.5, 1.0])
    again = TableLook(name="y", one=Table1D(np.repeat(back[:, None], 3, axis=1)))

    np.testing.assert_allclose(again.apply(there.apply(COLOURS)), COLOURS, atol=4e-16)


def test_neutral_greys_stay_neutral_by_tetrahedra_only():
    """A neutral look's greys: no cast by tetrahedra; trilinear reading tints them by over a code.

    In 10-bit codes at 17 nodes.
    """
    look = TableLook(name="x", three=Table3D(lattice_of(look_named("rye"), 17)))
    greys = np.repeat(np.linspace(0.0, 1.0, 501)[:, None], 3, axis=1)

    cast = {r: np.ptp(look.read(greys, r), axis=1).max() * 1023 for r in (tetrahedral, trilinear)}

    assert cast[tetrahedral] < 1e-9
    assert cast[trilinear] > 1.0


def test_a_table_of_a_shipped_look_grades_like_the_look():
    """33 nodes in place of the formulas: within four 10-bit codes on phone log."""
    signal = RNG.random((3000, 3)) * 0.7 + 0.1
    encoding = named("phone-log-1")
    table = TableLook(name="t", three=Table3D(lattice_of(look_named("oven-light"), 33)))

    exact = exact_transform(Grade(encoding=encoding, look=LookUse("oven-light", 0.7)))(signal)
    by_table = exact_transform(Grade(encoding=encoding, look=LookUse("t", 0.7)), lambda _: table)(
        signal
    )

    difference = np.abs(by_table - exact) * 1023
    assert 0.01 < np.quantile(difference, 0.99) < 4.0


@pytest.fixture(scope="module")
def conversion():
    """Phone log to the ACES 2 SDR picture, as a table somebody else would make of it."""
    output_transform = exact_transform(Grade(encoding=named("phone-log-1")))
    shown = lattice_of(_Function(output_transform), 49)
    return TableLook(name="c", space="phone-log-1", gives="bt709-display", three=Table3D(shown))


class _Function:
    space = "phone-log-1"

    def __init__(self, apply):
        self.apply = apply


def test_a_conversion_takes_the_place_of_the_output_transform(conversion):
    """It never follows one; half of it and half of the same one is that one.

    What is left is the table's own error at 49 nodes a side, in 10-bit codes.
    """
    signal = RNG.random((2000, 3)) * 0.5 + 0.2
    plain = exact_transform(Grade(encoding=named("phone-log-1")))(signal)

    for strength in (0.5, 1.0):
        grade = Grade(encoding=named("phone-log-1"), look=LookUse("c", strength))
        shown = exact_transform(grade, lambda _: conversion)(signal)
        codes = np.abs(shown - plain) * 1023
        assert 0.01 < np.median(codes) < 0.5
        assert np.quantile(codes, 0.99) < 12.0


def test_strength_mixes_a_conversion_with_the_output_transform():
    """A conversion that makes everything one grey: a quarter of it, the rest as without it."""
    signal = RNG.random((50, 3)) * 0.5 + 0.2
    grey = Table3D(np.full((2, 2, 2, 3), 0.3))
    look = TableLook(name="g", space="phone-log-1", gives="bt709-display", three=grey)
    grade = Grade(encoding=named("phone-log-1"), look=LookUse("g", 0.25))

    shown = exact_transform(grade, lambda _: look)(signal)

    rendered = exact_transform(Grade(encoding=named("phone-log-1")))(signal)
    np.testing.assert_allclose(shown, 0.75 * rendered + 0.25 * 0.3, atol=1e-12)


def test_a_conversion_takes_the_light_of_any_clip(conversion):
    """A clip of another log comes to the table in the log that the table is made for."""
    light = RNG.random((2000, 3)) * 0.6 + 0.02
    use = LookUse("c")
    shown = []
    for name in ("phone-log-1", "slog3"):
        encoding = named(name)
        into = rgb_to_rgb("ap1", encoding.primaries)
        signal = transfer_of(encoding).to_signal(light @ into.T, encoding.range)
        grade = Grade(encoding=encoding, look=use)
        shown.append(exact_transform(grade, lambda _: conversion)(signal))

    np.testing.assert_allclose(shown[1], shown[0], atol=1e-6)


@pytest.mark.parametrize("space", ["acescct", "slog3", "slog3-full", "phone-log-2"])
def test_an_identity_table_in_a_log_space_changes_nothing(space):
    """Into the space, through the table, and back: the codes of its full form are other ones."""
    signal = RNG.random((500, 3)) * 0.5 + 0.2
    identity = lattice_of(_Function(lambda values: values), 5)
    look = TableLook(name="i", space=space, gives=space, three=Table3D(identity))
    grade = Grade(encoding=named("phone-log-1"), look=LookUse("i"))

    shown = exact_transform(grade, lambda _: look)(signal)

    expected = exact_transform(Grade(encoding=named("phone-log-1")))(signal)
    np.testing.assert_allclose(shown, expected, atol=2e-5)


def test_a_look_for_another_display_is_refused(conversion):
    """A BT.709 conversion has no place in an HLG master."""
    grade = Grade(encoding=named("phone-log-1"), output_transform="hlg-1000", look=LookUse("c"))

    with pytest.raises(UsageError, match="gives bt709-display, but hlg-1000 gives hlg"):
        exact_transform(grade, lambda _: conversion)


def test_spaces_are_the_encodings_and_their_full_forms():
    """A curve that is a function of code/1023 has a space of its own; grey lands as published."""
    assert set(SPACES) > {"bt709-display", "phone-log-1", "acescct", "slog3", "slog3-full"}
    assert "phone-log-1-full" not in SPACES
    assert is_log("slog3-full")
    assert is_display("bt709-display")
    assert not is_display("acescct")
    with pytest.raises(UsageError, match="Did you mean phone-log-1"):
        space_named("Phone Log 1")
