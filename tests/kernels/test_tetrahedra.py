"""Reading by tetrahedra, and how the tetrahedra of a table lie."""

from __future__ import annotations

import numpy as np
import PyOpenColorIO as ocio
import pytest

from evenhand.grade.lattice import tetrahedral
from evenhand.kernels.tetrahedra import read, volumes


def nodes(size: int) -> np.ndarray:
    """The table that does nothing, [b, g, r]."""
    along = np.linspace(0.0, 1.0, size)
    return np.stack(np.meshgrid(along, along, along, indexing="ij")[::-1], axis=-1)


def signals(size: int) -> np.ndarray:
    """Random colours, and those on faces, edges, diagonals and nodes, where channels tie."""
    rng = np.random.default_rng(4)
    signal = rng.random((6000, 3))
    signal[:500] = signal[:500, :1]
    signal[500:900, 1] = signal[500:900, 0]
    signal[900:1300, 2] = signal[900:1300, 1]
    signal[1300:1700, 2] = signal[1300:1700, 0]
    signal[1700:2100] = np.rint(signal[1700:2100] * (size - 1)) / (size - 1)
    signal[2100:2200] = np.rint(signal[2100:2200])
    return signal


@pytest.mark.oracle
@pytest.mark.parametrize("size", [2, 17, 33])
def test_reading_agrees_with_opencolorio(size: int) -> None:
    """Values of a random table, to what float32 can hold."""
    table = np.random.default_rng(size).random((size, size, size, 3)).astype(np.float32)
    transform = ocio.Lut3DTransform(size)
    transform.setInterpolation(ocio.INTERP_TETRAHEDRAL)
    # OpenColorIO's table runs blue fastest.
    transform.setData(np.ascontiguousarray(table.transpose(2, 1, 0, 3)).ravel())
    signal = signals(size).astype(np.float32)
    theirs = signal.copy()
    ocio.Config.CreateRaw().getProcessor(transform).getDefaultCPUProcessor().applyRGB(theirs)

    # OpenColorIO works in float32: a place is off by 2e-7 of the table's width, a step by 1.
    ours = read(table.astype(np.float64), signal.astype(np.float64))

    np.testing.assert_allclose(ours, theirs, atol=1e-6 * max(1, size / 8))


@pytest.mark.oracle
def test_a_smooth_table_agrees_to_a_millionth() -> None:
    """As looks are: neighbouring nodes are near each other."""
    table = nodes(33) ** np.array([1.1, 0.9, 1.2])
    transform = ocio.Lut3DTransform(33)
    transform.setInterpolation(ocio.INTERP_TETRAHEDRAL)
    transform.setData(np.ascontiguousarray(table.transpose(2, 1, 0, 3), np.float32).ravel())
    theirs = signals(33).astype(np.float32)
    ours = read(table, theirs.astype(np.float64))
    ocio.Config.CreateRaw().getProcessor(transform).getDefaultCPUProcessor().applyRGB(theirs)

    np.testing.assert_allclose(ours, theirs, atol=1e-6)


def test_reading_agrees_with_numpy() -> None:
    """The same rule, written twice."""
    table = np.random.default_rng(2).random((9, 9, 9, 3))

    np.testing.assert_allclose(
        read(table, signals(9)), tetrahedral(table.astype(np.float32), signals(9) * 8), atol=1e-6
    )


def test_signals_beyond_the_table_get_its_ends() -> None:
    """Below 0 and above 1."""
    table = np.random.default_rng(2).random((5, 5, 5, 3))
    signal = np.array([[-0.5, 0.3, 1.7]])

    np.testing.assert_array_equal(read(table, signal), read(table, np.clip(signal, 0, 1)))


@pytest.mark.parametrize("size", [2, 5, 17])
def test_what_does_nothing_is_neither_mirrored_nor_flat(size: int) -> None:
    """All six tetrahedra of each cell count, and have their own volume."""
    found = volumes(nodes(size))

    assert found == (6 * (size - 1) ** 3, 0, 0)


def test_swapped_channels_are_mirrored() -> None:
    """Any two of the three; a turn of all three is not."""
    table = nodes(5)

    for order in ([1, 0, 2], [0, 2, 1], [2, 1, 0]):
        assert volumes(table[..., order]).mirrored == 6 * 4**3
    assert volumes(table[..., [1, 2, 0]]).mirrored == 0


def test_black_and_white_is_flat() -> None:
    """Though six decimals in a file make volumes that are not quite 0."""
    grey = np.repeat(nodes(9).mean(axis=-1, keepdims=True), 3, axis=-1)
    found = volumes(np.round(grey + np.random.default_rng(1).normal(0, 3e-7, grey.shape), 6))

    assert found == (6 * 8**3, 0, 6 * 8**3)


def test_one_node_pulled_through_its_neighbour_is_found() -> None:
    """Some of the 24 tetrahedra that it is part of turn over, and none else."""
    table = nodes(5)
    table[2, 2, 2, 0] += 0.3

    assert 0 < volumes(table).mirrored <= 24
