"""What a look's table is like: smooth or bent, pinned, folded, and how far from the exact look."""

from __future__ import annotations

from functools import cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from evenhand.colourmath.difference import ciede2000, lab
from evenhand.kernels import tetrahedra
from evenhand.measure.looks.probes import Floats, even_points, lab_of

# Bends are taken over steps of this table, whatever the size of the look's own.
_BEND_SIZE: Final = 33
_LEAST_SIZE: Final = 8
_HALF_CODE: Final = 0.5 / 1023.0
_POINTS: Final = 4096
# The error of linear reading falls with the square of the step: half a table misses the whole by
# 4 parts less 1, of which the whole misses the truth by 1.
_OF_HALF: Final = 1.0 / 3.0
_OF_FLAT: Final = 0.25


def even_table(lattice: Floats) -> Floats:
    """Oklab of a table of signal within 0..1; of 33 nodes a side where it has more."""
    size = min(len(lattice), _BEND_SIZE)
    return lab_of(lattice if size == len(lattice) else read_to(lattice, size))


def bends(even: Floats) -> dict[str, float]:
    """Third differences along the three axes, in Oklab × 100: their 95th percentile.

    Third, because curves are no fault and a kink is; not the worst, because the look has to bend
    where the display ends. `even` is Oklab of the nodes, of which the first two and the last two
    are left out.
    """
    size = len(even)
    if size < _LEAST_SIZE:
        return {"bend": 0.0}
    steps = 100.0 * even
    inner = []
    for axis in range(3):
        turned = np.moveaxis(steps, axis, 0)
        third = turned[3:] - 3.0 * (turned[2:-1] - turned[1:-2]) - turned[:-3]
        third = third[2:-2]
        inner.append(np.einsum("...i,...i", third, third).ravel())
    every = np.concatenate(inner)
    place = round(0.95 * (every.size - 1))
    scale = ((size - 1) / 32.0) ** 3
    return {"bend": scale * float(np.sqrt(np.partition(every, place)[place]))}


def gamut(lattice: Floats) -> dict[str, float]:
    """Shares of the nodes, in percent, that lie outside the display, and at its limits.

    Of the limits the inner nodes alone are asked: what was at a limit before may be so after.
    """
    edge = _margin(len(lattice))
    inner = lattice[edge:-edge, edge:-edge, edge:-edge] if edge else lattice
    outside = (lattice < -_HALF_CODE) | (lattice > 1.0 + _HALF_CODE)
    pinned = (inner <= _HALF_CODE) | (inner >= 1.0 - _HALF_CODE)
    return {
        "outside": 100.0 * float(outside.any(axis=-1).mean()),
        "pinned": 100.0 * float(pinned.any(axis=-1).mean()) if edge else 0.0,
    }


def folds(lattice: Floats) -> dict[str, float]:
    """How much of the inner table cannot be undone, in percent of its tetrahedra.

    `mirrored`: turned inside out, so that colours change places; `flat`: pressed flat, so that
    colours become one; `undone`: the one and a quarter of the other.
    """
    found = tetrahedra.volumes(lattice, _margin(len(lattice)))
    mirrored, flat = (100.0 * count / found.total for count in (found.mirrored, found.flat))
    return {"mirrored": mirrored, "flat": flat, "undone": mirrored + _OF_FLAT * flat}


def detail(even: Floats) -> dict[str, float]:
    """Share of steps between inner nodes, in percent, of which under an eighth is left."""
    lost = [
        _inner(_squares(even, axis) < whole / 64.0).ravel()
        for axis, whole in enumerate(_steps_of_nothing(len(even)))
    ]
    return {"lost_detail": 100.0 * float(np.concatenate(lost).mean())}


def _margin(size: int) -> int:
    """Nodes of a table that lie within an eighth of the display's limits, at each side."""
    return (size - 1) // 8


def _inner(steps: NDArray[np.bool_]) -> NDArray[np.bool_]:
    edge = _margin(max(steps.shape))
    return steps[edge:-edge, edge:-edge, edge:-edge] if edge else steps


@cache
def _steps_of_nothing(size: int) -> tuple[Floats, ...]:
    even = lab_of(grid(size))
    return tuple(_squares(even, axis) for axis in range(3))


def _squares(even: Floats, axis: int) -> Floats:
    step = np.diff(even, axis=axis)
    result: Floats = np.einsum("...i,...i", step, step)
    return result


def interpolation(read: Floats, exact: Floats) -> float:
    """99th percentile of CIEDE2000 between colours read from a table and worked out, (n, 3)."""
    return float(np.quantile(ciede2000(lab(read), lab(exact)), 0.99))


def interpolation_of_table(lattice: Floats) -> float:
    """The same for a table whose origin is unknown, estimated from every second node of it."""
    points = even_points(_POINTS)
    half = read_to(lattice, (len(lattice) + 1) // 2)
    if len(half) < 2:
        return 0.0
    whole, coarse = (np.clip(tetrahedra.read(t, points), 0.0, 1.0) for t in (lattice, half))
    return _OF_HALF * interpolation(coarse, whole)


def read_to(lattice: Floats, size: int) -> Floats:
    """A lattice read at the nodes of another size."""
    nodes = grid(size)
    return tetrahedra.read(lattice, nodes.reshape(-1, 3)).reshape(nodes.shape)


@cache
def grid(size: int) -> Floats:
    """The signal of each node, (n, n, n, 3), [blue, green, red]: the table that does nothing."""
    along = np.linspace(0.0, 1.0, size)
    blue, green, red = np.meshgrid(along, along, along, indexing="ij")
    nodes = np.stack([red, green, blue], axis=-1)
    nodes.setflags(write=False)
    return nodes
