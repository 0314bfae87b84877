"""What the grade kernel reads: a lattice of display codes, and tables of moves for steadying."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Self

import numpy as np
from numpy.typing import NDArray

from evenhand.kernels.layout import MOVES, aligned_zeros

MAX_SIZE = 256
"""Byte offsets are worked out in float32, which is exact for multiples of 16 below 2^28."""
CURVE_DEGREE = 9
CURVE_TOLERANCE = 2e-3
"""Cells: the straight pieces between the points of a smooth axis are as far from it themselves."""
MAX_CODE = 65536.0
"""Far beyond every code; no sum of values below it can overflow float32."""


@dataclass(frozen=True, slots=True)
class KernelTable:
    """A lattice over signal R'G'B' whose values are display Y'CbCr as 10-bit narrow codes.

    Make one with `from_lattice`. `values` is flat, aligned, [b, g, r, (Y', Cb, Cr, Y')];
    `low`, `high` are the signals of the first and last node; `axis` is empty, or the position of a
    signal among the nodes (0 … 1) at equal steps from `low` to `high`. `curve` is the axis as a
    polynomial, where it is one: coefficients from the highest power down, of the place between
    `low` (-1) and `high` (1), with the coordinate in the lattice as value. The kernel evaluates a
    polynomial much faster than it looks up an axis.
    """

    values: NDArray[np.float32]
    size: int
    low: float
    high: float
    axis: NDArray[np.float32]
    curve: tuple[float, ...] = ()

    @classmethod
    def from_lattice(
        cls,
        lattice: NDArray[np.float32],
        domain: tuple[float, float] = (0.0, 1.0),
        axis: NDArray[np.float32] | None = None,
    ) -> Self:
        """Take a lattice [b, g, r, channel] (N, N, N, 3 or 4) of codes: Y' 64 … 940, C 64 … 960.

        Signals outside `domain` are clamped to it. `axis`, for nodes that do not lie at equal
        steps, rises from 0 to 1: node k lies where it is k / (N - 1), see `nodes`. Raises
        ValueError when the shape, the domain or a value cannot be used.
        """
        size, last = lattice.shape[0], lattice.shape[-1]
        if lattice.shape != (size, size, size, last) or last not in (3, 4):
            raise ValueError(f"a lattice is (N, N, N, 3 or 4), not {lattice.shape}")
        if not 2 <= size <= MAX_SIZE:
            raise ValueError(f"a lattice has 2 to {MAX_SIZE} nodes a side, not {size}")
        if not (np.abs(lattice) < MAX_CODE).all():  # NaN and infinities fail this too
            raise ValueError("the lattice holds values that are not finite 10-bit codes")
        low, high = domain
        if not (np.isfinite(low) and np.isfinite(high) and low < high):
            raise ValueError(f"the domain must rise, not go from {low} to {high}")
        values = aligned_zeros(size**3 * 4, np.float32)
        values.reshape(-1, 4)[:, :3] = lattice.reshape(-1, last)[:, :3]
        values.reshape(-1, 4)[:, 3] = values.reshape(-1, 4)[:, 0]
        checked = _checked_axis(axis)
        return cls(values, size, float(low), float(high), checked, _as_curve(checked, size))

    def nodes(self) -> NDArray[np.float64]:
        """The signal of every node along an axis, (N,)."""
        places = np.linspace(0.0, 1.0, self.size)
        if self.axis.size:
            steps = np.linspace(0.0, 1.0, self.axis.size)
            places = np.interp(places, self.axis.astype(np.float64), steps)
        return self.low + (self.high - self.low) * places


@dataclass(frozen=True, slots=True)
class SteadyMoves:
    """By how much the signal of a channel moves: one table for each level of correction.

    `levels` is flat: (count + 1) tables of MOVES moves, of signals at equal steps from `low` to
    `high`; the last is there to be read past the end. `places` (rows or 1, 3) say between which
    levels r, g and b of a row lie, 0 … count - 1: one row alone stands for all.
    """

    levels: NDArray[np.float32]
    low: float
    high: float
    places: NDArray[np.float32]

    @classmethod
    def from_tables(
        cls, tables: NDArray[np.float32], domain: tuple[float, float], places: NDArray[np.floating]
    ) -> Self:
        """Take tables (count, MOVES) and places; ValueError where they cannot be used."""
        if tables.ndim != 2 or tables.shape[1] != MOVES or not np.isfinite(tables).all():
            raise ValueError(f"tables are (levels, {MOVES}) and finite, not {tables.shape}")
        padded = np.concatenate([tables, tables[-1:]]).astype(np.float32, copy=False).ravel()
        return cls(padded, *domain, np.empty((0, 3), np.float32)).at(places)

    def at(self, places: NDArray[np.floating]) -> Self:
        """The same tables for another picture; places beyond the levels take the outermost."""
        if places.ndim != 2 or places.shape[1] != 3 or not np.isfinite(places).all():
            raise ValueError(f"places are (rows or 1, 3) and finite, not {places.shape}")
        inside = np.clip(places, 0, len(self.levels) // MOVES - 2).astype(np.float32)
        return replace(self, places=inside)


def _checked_axis(axis: NDArray[np.float32] | None) -> NDArray[np.float32]:
    if axis is None:
        return np.empty(0, np.float32)
    axis = np.array(axis, np.float32)
    if axis.ndim != 1 or axis.size < 2 or not np.isfinite(axis).all():
        raise ValueError("an axis is one dimension of at least two finite values")
    if axis[0] != 0.0 or axis[-1] != 1.0 or (np.diff(axis) <= 0).any():
        raise ValueError("an axis rises from 0 to 1")
    return axis


def _as_curve(axis: NDArray[np.float32], size: int) -> tuple[float, ...]:
    """The axis as a polynomial, or nothing where none lies close enough everywhere."""
    if not axis.size:
        return ()
    places, values = np.linspace(-1.0, 1.0, axis.size), axis.astype(np.float64) * (size - 1)
    degree = min(CURVE_DEGREE, axis.size - 1)
    series = np.polynomial.Chebyshev.fit(places, values, degree, domain=(-1.0, 1.0))
    if np.abs(series(places) - values).max() > CURVE_TOLERANCE:
        return ()
    powers = series.convert(kind=np.polynomial.Polynomial).coef
    return tuple(float(c) for c in np.pad(powers, (0, CURVE_DEGREE + 1 - len(powers)))[::-1])
