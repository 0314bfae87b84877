"""Looks that are tables: a curve a channel, a lattice, or the one and then the other.

Curves are read linearly and lattices by tetrahedra: on r = g = b a tetrahedron leans on the grey
diagonal alone, so that a table whose greys are neutral gives neutral greys. Trilinear reading leans
on all eight corners and tints them; it is here to compare with. Signal beyond a table's range gets
what the range's end gets.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import product
from typing import Final

import numpy as np

from evenhand.colourmath.curves import Array
from evenhand.grade.exact import Look
from evenhand.grade.lattice import tetrahedral
from evenhand.grade.spaces import DISPLAY
from evenhand.luts.tables import Table1D, Table3D

_CHUNK: Final = 1 << 17

Reading = Callable[[Array, Array], Array]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class TableLook:
    """A look read from tables.

    `space` is what it expects and `gives` what it gives, both names of `spaces.SPACES`; a creative
    look gives the space it expects, a conversion another. Where there are both tables the curves
    come first.
    """

    name: str
    space: str = DISPLAY
    gives: str = DISPLAY
    one: Table1D | None = None
    three: Table3D | None = None
    title: str = ""

    def apply(self, signal: Array) -> Array:
        """Signal (..., 3) to signal of the same shape, float64; NaN counts as the low end."""
        return self.read(signal, tetrahedral)

    def read(self, signal: Array, reading: Reading) -> Array:
        """`apply` with another reading of the lattice."""
        values = np.asarray(signal, np.float64)
        flat = values.reshape(-1, 3)
        out = np.empty(flat.shape)
        for start in range(0, len(flat), _CHUNK):
            part = flat[start : start + _CHUNK]
            if self.one is not None:
                part = read_curves(self.one, part)
            if self.three is not None:
                part = read_lattice(self.three, part, reading)
            out[start : start + _CHUNK] = part
        return out.reshape(values.shape)


def read_curves(table: Table1D, signal: Array) -> Array:
    """Each channel of (n, 3) through its own curve, linearly between nodes."""
    place = _places(table, signal)
    nodes = np.arange(table.size)
    columns = [np.interp(place[:, k], nodes, table.values[:, k]) for k in range(3)]
    return np.stack(columns, axis=1)


def read_lattice(table: Table3D, signal: Array, reading: Reading = tetrahedral) -> Array:
    """(n, 3) through a lattice."""
    return reading(table.values, _places(table, signal))


def trilinear(values: Array, place: Array) -> Array:
    """Read (N, N, N, ≥3) at lattice coordinates (n, 3) in order r, g, b, by all eight corners."""
    cell = np.clip(place.astype(np.int64), 0, values.shape[0] - 2)
    fraction = place - cell
    result = np.zeros(place.shape)
    for corner in product((0, 1), repeat=3):
        weight = np.prod(np.where(corner, fraction, 1.0 - fraction), axis=1)
        red, green, blue = (cell + corner).T
        result += values[blue, green, red, :3] * weight[:, None]
    return result


def lattice_of(look: Look, size: int) -> Array:
    """A look at size³ nodes at equal steps over 0..1: (n, n, n, 3), [blue, green, red]."""
    along = np.linspace(0.0, 1.0, size)
    out = np.empty((size, size, size, 3))
    plane = np.empty((size, size, 3))
    plane[..., 0], plane[..., 1] = along[None, :], along[:, None]
    step = max(1, _CHUNK // size**2)
    for first in range(0, size, step):
        blues = along[first : first + step]
        block = np.repeat(plane[None], len(blues), axis=0)
        block[..., 2] = blues[:, None, None]
        out[first : first + step] = look.apply(block.reshape(-1, 3)).reshape(block.shape)
    return out


def _places(table: Table1D | Table3D, signal: Array) -> Array:
    """Where signals lie among the nodes, 0..n-1 a channel."""
    low, high = np.array(table.low), np.array(table.high)
    share = (signal - low) / (high - low)
    result: Array = np.fmin(np.fmax(share, 0.0), 1.0) * (table.size - 1)
    return result
