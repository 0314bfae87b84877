"""A lattice over R'G'B' signal whose values are output codes: its nodes, its making, its reading.

Index [b, g, r, channel]. Reading is tetrahedral in float64: the reference for the kernel, and what
errors are measured with. Nodes lie at equal steps of the domain, or where an `axis` puts them: the
place of a signal among the nodes, 0..1, at equal steps of the domain.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from evenhand.colourmath.curves import Array

Codes = Callable[[Array], Array]

_ROUNDS: Final = 5
# In pixels: a node that one pixel leans on fully goes half its way a round.
_STIFFNESS: Final = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class Lattice:
    """`values` (N, N, N, 4) float32: Y', Cb, Cr and Y' again, as 10-bit codes, unrounded."""

    values: NDArray[np.float32]
    domain: tuple[float, float]
    axis: Array | None = None

    @property
    def size(self) -> int:
        """Nodes a side."""
        return int(self.values.shape[0])

    def read(self, signal: ArrayLike) -> Array:
        """Signal (n, 3) to codes (n, 3); signals outside the domain are clamped to it."""
        place = places(np.asarray(signal, np.float64), self.domain, self.axis) * (self.size - 1)
        return tetrahedral(self.values, place)


def places(signal: Array, domain: tuple[float, float], axis: Array | None) -> Array:
    """Where signals lie among the nodes, 0..1."""
    low, high = domain
    share = np.clip((signal - low) / (high - low), 0.0, 1.0)
    if axis is None:
        return share
    return np.interp(share, np.linspace(0.0, 1.0, len(axis)), axis).reshape(share.shape)


def nodes(size: int, domain: tuple[float, float], axis: Array | None) -> Array:
    """The signal of every node of an axis, (size,)."""
    share = np.linspace(0.0, 1.0, size)
    if axis is not None:
        share = np.interp(share, axis, np.linspace(0.0, 1.0, len(axis)))
    return domain[0] + (domain[1] - domain[0]) * share


def bake(codes: Codes, size: int, domain: tuple[float, float], axis: Array | None) -> Lattice:
    """Evaluate `codes` (signal (n, 3) to codes (n, 3)) at every node."""
    along = nodes(size, domain, axis)
    values = np.empty((size, size, size, 4), np.float32)
    plane = np.empty((size, size, 3))
    plane[..., 0], plane[..., 1] = along[None, :], along[:, None]
    # A few planes at a time keep memory small at 129 nodes a side.
    step = max(1, (1 << 17) // size**2)
    for first in range(0, size, step):
        blues = along[first : first + step]
        block = np.repeat(plane[None], len(blues), axis=0)
        block[..., 2] = blues[:, None, None]
        values[first : first + step, ..., :3] = codes(block.reshape(-1, 3)).reshape(block.shape)
    values[..., 3] = values[..., 0]
    return Lattice(values, domain, axis)


def corners(size: int, place: Array) -> tuple[NDArray[np.int64], Array]:
    """The four nodes and weights, (4, n) each, of lattice coordinates (n, 3) in order r, g, b.

    Tetrahedra about the grey diagonal (Kasson et al., 1993): on r = g = b only the nodes of the
    diagonal count, so neutral stays neutral.
    """
    cell = np.minimum(place.astype(np.int64), size - 2)
    fraction = place - cell
    strides = np.array([1, size, size * size])
    base = cell @ strides
    order = np.argsort(-fraction, axis=1, kind="stable")
    large, middle, small = np.take_along_axis(fraction, order, axis=1).T
    steps = strides[order]
    second = base + steps[:, 0]
    index = np.stack([base, second, second + steps[:, 1], base + strides.sum()])
    return index, np.stack([1.0 - large, large - middle, middle - small, small])


def tetrahedral(values: NDArray[np.floating], place: Array) -> Array:
    """Read (N, N, N, ≥3) at lattice coordinates (n, 3) in order r, g, b, to (n, 3)."""
    size = values.shape[0]
    index, weight = corners(size, place)
    flat = values.reshape(size**3, -1)[:, :3]
    result = np.zeros(place.shape)
    for nodes_of_pixels, weights in zip(index, weight, strict=True):
        result += flat[nodes_of_pixels] * weights[:, None]
    return result


def fitted(lattice: Lattice, signal: Array, codes: Array) -> Lattice:
    """The lattice with its nodes moved a little, so that it passes through `codes` at `signal`.

    Nodes that lie on a bent function make straight pieces that err to one side of it; moving them
    halves the error. Each round spreads what is missing at each pixel over its four nodes (the
    simultaneous iterative reconstruction of Gilbert, 1972); nodes with few pixels hardly move, and
    the chroma of the grey diagonal never does.
    """
    size = lattice.size
    index, weight = corners(size, places(signal, lattice.domain, lattice.axis) * (size - 1))
    used, inverse = np.unique(index, return_inverse=True)
    inverse = inverse.reshape(index.shape)
    spread = np.bincount(inverse.ravel(), weight.ravel(), len(used)) + _STIFFNESS
    flat = lattice.values.reshape(size**3, 4).copy()
    nodes_now = flat[used, :3].astype(np.float64)
    on_diagonal = used % (1 + size + size * size) == 0
    for _ in range(_ROUNDS):
        missing = codes - (nodes_now[inverse] * weight[..., None]).sum(axis=0)
        for channel in range(3):
            share = (weight * missing[:, channel]).ravel()
            move = np.bincount(inverse.ravel(), share, len(used)) / spread
            if channel:
                move[on_diagonal] = 0.0
            nodes_now[:, channel] += move
    flat[used, :3] = nodes_now
    flat[:, 3] = flat[:, 0]
    return Lattice(flat.reshape(lattice.values.shape), lattice.domain, lattice.axis)
