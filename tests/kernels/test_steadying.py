"""Signal moved by tables inside the grade kernel, against the same definition in float64."""

from __future__ import annotations

import kernel_reference as reference
import numpy as np
import pytest

from evenhand.kernels.frame import PlaneFormat
from evenhand.kernels.grade import grade_planes
from evenhand.kernels.layout import MOVES, TILE
from evenhand.kernels.table import KernelTable, SteadyMoves

BT709 = (0.2126, 0.0722)
LOW, HIGH = -0.07, 1.09
SIGNALS = np.linspace(LOW, HIGH, MOVES)
TARGET = PlaneFormat(10, 1, 1)


def tables(levels):
    """Smooth moves that differ from level to level, up to 0.2 of signal."""
    waves = [0.05 * k * np.sin(3 * SIGNALS + k) for k in range(levels)]
    return np.array(waves, np.float32)


def picture(form, height, width):
    """Random codes over the whole range."""
    rng = np.random.default_rng(3)
    shapes = ((height, width), *[form.chroma_shape(height, width)] * 2)
    return tuple(rng.integers(0, 2**form.bits, shape).astype(form.dtype) for shape in shapes)


def lattice_of(size):
    """Unrelated values at every node, so that a wrong place shows."""
    rng = np.random.default_rng(5)
    return rng.uniform((64, 64, 64, 0), (940, 960, 960, 0), (size,) * 3 + (4,)).astype(np.float32)


def axis_of(kind):
    share = np.linspace(0, 1, 513)
    if kind == "equal steps":
        return None
    if kind == "looked up":
        return np.interp(share, (0, 0.3, 0.35, 0.8, 1), (0, 0.1, 0.4, 0.7, 1)).astype(np.float32)
    return (share + 0.8 * share * (1 - share) * (0.4 - share**3)).astype(np.float32)


def moved(signal, levels, places):
    """The definition: the nearest entry of a table between the two nearest levels."""
    at = (np.clip(signal, LOW, HIGH) - LOW) / (HIGH - LOW) * (MOVES - 1)
    entry = np.floor(at + 0.5).astype(int)
    out = np.empty_like(signal)
    rows = np.broadcast_to(places, (signal.shape[0], 3))
    for row, channel in np.ndindex(rows.shape):
        level = min(int(rows[row, channel]), len(levels) - 2)
        share = rows[row, channel] - level
        table = (1 - share) * levels[level].astype(float) + share * levels[level + 1]
        out[row, :, channel] = SIGNALS[0] + at[row, :, channel] * (SIGNALS[1] - SIGNALS[0])
        out[row, :, channel] += table[entry[row, :, channel]]
    return out


def run(planes, source, table, moves, threads=1):
    out = TARGET.empty(*planes[0].shape)
    grade_planes(planes, source, BT709, table, out, TARGET, moves=moves, threads=threads)
    return out


@pytest.mark.oracle
@pytest.mark.parametrize("kind", ["equal steps", "polynomial", "looked up"])
@pytest.mark.parametrize("by_rows", [False, True], ids=["a frame", "rows"])
@pytest.mark.parametrize(
    ("source", "size"),
    [
        (PlaneFormat(10, 2, 2), (7, TILE + 13)),
        (PlaneFormat(8, 2, 1), (4, 29)),
        (PlaneFormat(10, 1, 1), (5, 2 * TILE)),
    ],
    ids=str,
)
def test_signal_moves_before_it_is_graded(kind, by_rows, source, size):
    """The result is that of the lattice at the moved signal, whatever its nodes lie along."""
    lattice, axis, levels = lattice_of(5), axis_of(kind), tables(5)
    table = KernelTable.from_lattice(lattice, (-0.05, 1.05), axis)
    places = np.array([[0.3, 1.0, 3.7]])
    if by_rows:
        places = np.random.default_rng(1).uniform(0, 4, (size[0], 3))
        places[0], places[-1] = 0.0, 4.0
    planes = picture(source, *size)
    moves = SteadyMoves.from_tables(levels, (LOW, HIGH), places)

    signal = reference.to_signal(reference.full_size(planes, source), BT709)
    signal = moved(signal, levels, places)
    along = np.linspace(0, 1, 513) if axis is None else axis.astype(float)
    place = np.interp(signal, np.linspace(-0.05, 1.05, 513), 4 * along)
    expected = reference.to_planes(reference.tetrahedral(lattice.astype(float), place), TARGET)

    out = run(planes, source, table, moves)

    # where a signal lies half-way between two entries float32 may take the other one
    for plane, exact in zip(out, expected, strict=True):
        off = np.abs(plane.astype(float) - exact)
        assert off.max() < 1.5
        assert np.quantile(off, 0.99) <= 0.55


@pytest.mark.parametrize("rows", [1, 31], ids=["a frame", "rows"])
def test_threads_do_not_change_a_steadied_picture(rows):
    """Every row goes through the same tables whatever band it is in."""
    source = PlaneFormat(10, 2, 2)
    places = np.random.default_rng(2).uniform(0, 4, (rows, 3))
    table = KernelTable.from_lattice(lattice_of(9))
    moves = SteadyMoves.from_tables(tables(5), (LOW, HIGH), places)
    planes = picture(source, 31, 41)

    one = run(planes, source, table, moves)

    for threads in (2, 5):
        for a, b in zip(one, run(planes, source, table, moves, threads), strict=True):
            np.testing.assert_array_equal(a, b)


def test_a_picture_after_a_steadied_one_is_not_steadied():
    """Tables that stay in the memory of a thread do not reach the next picture."""
    source = PlaneFormat(10, 2, 2)
    table = KernelTable.from_lattice(lattice_of(5))
    planes = picture(source, 6, 40)
    before = run(planes, source, table, None)
    moves = SteadyMoves.from_tables(tables(5), (LOW, HIGH), np.array([[3.0, 2.0, 1.0]]))

    steady = run(planes, source, table, moves)
    after = run(planes, source, table, None)

    assert any((a != b).any() for a, b in zip(before, steady, strict=True))
    for a, b in zip(before, after, strict=True):
        np.testing.assert_array_equal(a, b)


def test_places_beyond_the_levels_take_the_outermost():
    """A gain that nobody made a table for is limited and never read from other memory."""
    levels = tables(5)
    moves = SteadyMoves.from_tables(levels, (LOW, HIGH), np.array([[-3.0, 9.0, 4.0]]))

    np.testing.assert_array_equal(moves.places, [[0.0, 4.0, 4.0]])


@pytest.mark.parametrize(
    ("levels", "places", "said"),
    [
        (np.zeros((3, 10), np.float32), np.zeros((1, 3)), "tables are"),
        (np.full((3, MOVES), np.nan, np.float32), np.zeros((1, 3)), "tables are"),
        (np.zeros((3, MOVES), np.float32), np.zeros((1, 2)), "places are"),
        (np.zeros((3, MOVES), np.float32), np.full((1, 3), np.nan), "places are"),
    ],
)
def test_what_cannot_be_read_is_refused(levels, places, said):
    """Short tables, or values that are no numbers, never reach compiled code."""
    with pytest.raises(ValueError, match=said):
        SteadyMoves.from_tables(levels, (LOW, HIGH), places)


def test_rows_of_another_picture_are_refused():
    """Places for 5 rows do not fit a picture of 6."""
    source = PlaneFormat(10, 2, 2)
    moves = SteadyMoves.from_tables(tables(3), (LOW, HIGH), np.zeros((5, 3)))
    with pytest.raises(ValueError, match="5 rows"):
        run(picture(source, 6, 8), source, KernelTable.from_lattice(lattice_of(2)), moves)
