"""One row of a tile, all three channels: from planes to floats and back."""

from __future__ import annotations

import numpy as np

from evenhand.kernels.compiling import kernel
from evenhand.kernels.layout import CB, CR, LUMA
from evenhand.kernels.rows import load_full, load_half, row_seed, store_full, store_half

f4 = np.float32


@kernel
def _load_chroma(plane, step, row, x, evens, odds, shape, sub, floats, slot):  # type: ignore[no-untyped-def]
    """One row of Cb or Cr of a tile; `shape` = rows and columns of the chroma plane."""
    if sub[0] == 1:
        load_full(plane, row * step + x, evens, odds, floats, slot)
        return
    column = x // 2
    more = column + evens < shape[1]
    width = evens + 1 if more else evens
    near = row // sub[1]
    far, share = near, f4(0.0)
    if sub[1] == 2:
        far, share = min(max(near + (row % 2) * 2 - 1, 0), shape[0] - 1), f4(0.25)
    upper = plane[near * step + column : near * step + column + width]
    lower = plane[far * step + column : far * step + column + width]
    load_half(upper, lower, share, more, evens, floats, slot)


@kernel
def _store_chroma(plane, step, row, x, evens, odds, sub_x, scale, seed, before, floats, slot):  # type: ignore[no-untyped-def]
    """One row of Cb or Cr of a tile; returns its last odd column for the tile to the right."""
    start = row * step + x // sub_x
    if sub_x == 1:
        store_full(floats, slot, evens, odds, plane, start, scale, x, seed)
        return before
    left = before if x else floats[slot]
    return store_half(floats, slot, left, evens, odds, plane, start, scale, x, seed)


@kernel
def load_tile(planes, steps, row, x, evens, odds, shape, sub, floats):  # type: ignore[no-untyped-def]
    """All of one row of a tile as floats, chroma at full width."""
    luma, blue, red = planes
    load_full(luma, row * steps[0] + x, evens, odds, floats, LUMA)
    _load_chroma(blue, steps[1], row, x, evens, odds, shape, sub, floats, CB)
    _load_chroma(red, steps[2], row, x, evens, odds, shape, sub, floats, CR)


@kernel
def store_tile(planes, steps, rows, x, evens, odds, sub_x, scales, frame, before, floats):  # type: ignore[no-untyped-def]
    """Chroma and, if any, luma of a tile; `rows` = row of luma or -1, row of chroma or -1."""
    luma, blue, red = planes
    if rows[0] >= 0:
        seed, start = row_seed(rows[0], frame, 0), rows[0] * steps[0] + x
        store_full(floats, LUMA, evens, odds, luma, start, scales[0], x, seed)
    if rows[1] < 0:
        return before
    seed = row_seed(rows[1], frame, 1)
    last_blue = _store_chroma(
        blue, steps[1], rows[1], x, evens, odds, sub_x, scales[1], seed, before[0], floats, CB
    )
    seed = row_seed(rows[1], frame, 2)
    last_red = _store_chroma(
        red, steps[2], rows[1], x, evens, odds, sub_x, scales[1], seed, before[1], floats, CR
    )
    return last_blue, last_red
