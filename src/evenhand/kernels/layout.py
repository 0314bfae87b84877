"""How a tile of a picture row lies in the scratch memory of a thread.

A picture is worked in tiles of `TILE` pixels of two rows, so that everything between the planes
read and the planes written stays in the first-level cache. In a tile the even columns come first
and the odd columns after them: chroma is sited on even columns, so that reading and writing it
becomes plain, contiguous work.

A row of a tile is six slots of float32 (`LUMA`, `CB`, `CR`, and the fractions of the place in its
cell by size) and three of uint32 (byte offsets into the lattice). Results overwrite `LUMA`, `CB`
and `CR`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

TILE = 512
HALF = TILE // 2
SLOT = TILE + 16  # one cache line more than a power of two, so that slots do not share cache sets
LUMA, CB, CR = 0, SLOT, 2 * SLOT
LARGE, MIDDLE, SMALL = 3 * SLOT, 4 * SLOT, 5 * SLOT
FLOAT_ROW = 6 * SLOT
OFFSET_0, OFFSET_1, OFFSET_2 = 0, SLOT, 2 * SLOT
OFFSET_ROW = 3 * SLOT
CACHE_LINE = 64
MOVES = 4096  # entries of a table by which signal moves


def aligned_zeros(count: int, dtype: Any) -> NDArray[Any]:
    """A one-dimensional array of zeros that begins on a cache line."""
    size = np.dtype(dtype).itemsize * count
    raw = np.zeros(size + CACHE_LINE, np.uint8)
    start = -raw.ctypes.data % CACHE_LINE
    return raw[start : start + size].view(dtype)


@dataclass(frozen=True, slots=True)
class Scratch:
    """The memory of one thread. Zeros, and never NaN: spare lanes are worked on as they are.

    `pairs` holds, for each pixel of a tile, the segment of the axis that was looked up;
    `pair_floats` is the same memory as its two floats. For steadying, `nearest` is the entry of
    each pixel in the table of its channel, and `tables` are those of two rows, three each.
    """

    floats: NDArray[np.float32]
    offsets: NDArray[np.uint32]
    pairs: NDArray[np.uint64]
    pair_floats: NDArray[np.float32]
    nearest: NDArray[np.int32]
    tables: NDArray[np.float32]

    @classmethod
    def new(cls) -> Self:
        """Aligned, and apart from that of every other thread."""
        pairs = aligned_zeros(TILE, np.uint64)
        floats = aligned_zeros(2 * FLOAT_ROW, np.float32)
        offsets = aligned_zeros(2 * OFFSET_ROW, np.uint32)
        nearest, tables = aligned_zeros(3 * SLOT, np.int32), aligned_zeros(6 * MOVES, np.float32)
        return cls(floats, offsets, pairs, pairs.view(np.float32), nearest, tables)
