"""Reading a lattice by tetrahedra, and how its tetrahedra lie: loops that arrays are slow for."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from evenhand.kernels.compiling import exact_kernel

Floats = NDArray[np.float64]

FLAT = 1e-3
"""Share of its volume as a cube cut in six that a tetrahedron keeps: less is flat.

Six decimals in a file of 65 nodes a side move a volume by 2e-4.
"""


class Volumes(NamedTuple):
    """Tetrahedra of a table: how many there are, turned inside out, and without volume."""

    total: int
    mirrored: int
    flat: int


def read(lattice: Floats, signal: Floats) -> Floats:
    """Signal (n, 3), cut to 0..1, through a lattice (N, N, N, 3) [b, g, r] over 0..1, to (n, 3).

    Tetrahedra about the grey diagonal (Kasson et al., 1993). Both must be finite.
    """
    out = np.empty(signal.shape)
    _read(np.ascontiguousarray(lattice, np.float64), np.ascontiguousarray(signal), out)
    return out


def volumes(lattice: Floats, margin: int = 0) -> Volumes:
    """How the six tetrahedra of each cell of (N, N, N, 3) lie; values in signal, 0..1 wide.

    `margin` cells at each side are left out; at least one has to be left.
    """
    table = np.ascontiguousarray(lattice, np.float64)
    mirrored, flat = _volumes(table, margin, FLAT)
    return Volumes(6 * (table.shape[0] - 1 - 2 * margin) ** 3, mirrored, flat)


@exact_kernel
def _read(lattice, signal, out):  # type: ignore[no-untyped-def]
    last = lattice.shape[0] - 1
    for i in range(signal.shape[0]):
        x = min(max(signal[i, 0], 0.0), 1.0) * last
        y = min(max(signal[i, 1], 0.0), 1.0) * last
        z = min(max(signal[i, 2], 0.0), 1.0) * last
        r, g, b = min(int(x), last - 1), min(int(y), last - 1), min(int(z), last - 1)
        x, y, z = x - r, y - g, z - b
        # the first and the second step from the low corner to the high one, largest part first
        r1 = 1 if x >= y and x >= z else 0
        g1 = 1 if r1 == 0 and y >= z else 0
        b1 = 1 - r1 - g1
        b2 = 0 if z <= x and z <= y and b1 == 0 else 1
        g2 = 0 if b2 == 1 and y <= x and g1 == 0 else 1
        r2 = 2 - b2 - g2
        large = max(x, max(y, z))
        small = min(x, min(y, z))
        middle = x + y + z - large - small
        for c in range(3):
            out[i, c] = (
                (1.0 - large) * lattice[b, g, r, c]
                + (large - middle) * lattice[b + b1, g + g1, r + r1, c]
                + (middle - small) * lattice[b + b2, g + g2, r + r2, c]
                + small * lattice[b + 1, g + 1, r + 1, c]
            )


@exact_kernel
def _volumes(lattice, margin, flat_below):  # type: ignore[no-untyped-def]
    last = lattice.shape[0] - 1
    scale = float(last) ** 3
    mirrored, flat = 0, 0
    for b in range(margin, last - margin):
        for g in range(margin, last - margin):
            for r in range(margin, last - margin):
                for k in range(6):
                    r1, g1, b1 = _FIRST[k]
                    r2, g2, b2 = _SECOND[k]
                    v = _volume(lattice, (b, g, r), (b1, g1, r1), (b2, g2, r2))
                    v *= scale if k < 3 else -scale
                    if v < -flat_below:
                        mirrored += 1
                    elif v <= flat_below:
                        flat += 1
    return mirrored, flat


# The first and the second corner of each tetrahedron, as steps in r, g, b; the first three wind as
# r, g, b does, the others against it.
_FIRST = ((1, 0, 0), (0, 1, 0), (0, 0, 1), (1, 0, 0), (0, 1, 0), (0, 0, 1))
_SECOND = ((1, 1, 0), (0, 1, 1), (1, 0, 1), (1, 0, 1), (1, 1, 0), (0, 1, 1))


@exact_kernel
def _volume(lattice, at, first, second):  # type: ignore[no-untyped-def]
    """Triple product of the edges from the low corner to the two given ones and the high one."""
    b, g, r = at
    base = lattice[b, g, r]
    one = lattice[b + first[0], g + first[1], r + first[2]]
    two = lattice[b + second[0], g + second[1], r + second[2]]
    far = lattice[b + 1, g + 1, r + 1]
    ax, ay, az = one[0] - base[0], one[1] - base[1], one[2] - base[2]
    bx, by, bz = two[0] - base[0], two[1] - base[1], two[2] - base[2]
    cx, cy, cz = far[0] - base[0], far[1] - base[1], far[2] - base[2]
    return ax * (by * cz - bz * cy) + ay * (bz * cx - bx * cz) + az * (bx * cy - by * cx)


def warm() -> None:
    """Compile, or take the compiled code from disk, before the first table."""
    table = np.zeros((2, 2, 2, 3))
    read(table, np.zeros((1, 3)))
    volumes(table)
