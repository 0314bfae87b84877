"""Between planes of codes and tiles of float rows: chroma taken and made at its sites.

Sites (H.273 chroma sample location type 0, and horizontally cosited 4:2:2): chroma column i lies on
luma column 2i; in 4:2:0 chroma row j lies half-way between luma rows 2j and 2j + 1.

- up, across: even columns take the sample, odd columns the mean of its two neighbours
- up, down (4:2:0): 3/4 of the nearer chroma row and 1/4 of the other
- down, across: 1-2-1 around the even column
- down, vertical (4:2:0): the mean of the two rows
- at every edge the outermost sample is repeated

Planes come flat, one-dimensional, with the place of a row's first sample.
"""

from __future__ import annotations

import numpy as np

from evenhand.kernels.compiling import kernel
from evenhand.kernels.layout import HALF, TILE
from evenhand.kernels.prefetch import prefetch

f4 = np.float32
u4 = np.uint32
LINE = 32  # 16-bit samples of a cache line of 64 bytes; twice as often as 8-bit samples need
SPREAD = f4(1.0 / 65536.0)


@kernel
def triangular(column, seed):  # type: ignore[no-untyped-def]
    """Triangular noise in (-1, 1), the difference of two uniform 16-bit values of one hash.

    The hash is a multiply-and-shift mixer of 32 bits over column and seed.
    """
    h = u4(u4(column * u4(0x9E3779B1)) ^ seed)
    h = u4(h ^ u4(h >> u4(16)))
    h = u4(h * u4(0x7FEB352D))
    h = u4(h ^ u4(h >> u4(15)))
    h = u4(h * u4(0x846CA68B))
    h = u4(h ^ u4(h >> u4(16)))
    low, high = np.int32(h & u4(0xFFFF)), np.int32(h >> u4(16))
    return f4(np.int32(low - high)) * SPREAD


@kernel
def row_seed(row, frame, plane):  # type: ignore[no-untyped-def]
    """A well-mixed 32-bit number for one row of one plane of one frame."""
    h = u4(row * 0x85EBCA6B + frame * 0xC2B2AE35 + plane * 0x27D4EB2F)
    h = u4(h ^ u4(h >> u4(15)))
    h = u4(h * u4(0x2C1B3C6D))
    h = u4(h ^ u4(h >> u4(12)))
    h = u4(h * u4(0x297A2D39))
    return u4(h ^ u4(h >> u4(15)))


@kernel
def load_full(plane, start, evens, odds, rows, slot):  # type: ignore[no-untyped-def]
    """Put a row of samples at full width into a slot: even columns, then odd columns."""
    source = plane[start : start + evens + odds]
    even, odd = rows[slot : slot + HALF], rows[slot + HALF : slot + 2 * HALF]
    for i in range(0, evens + odds, LINE):
        prefetch(plane, start + TILE + i)  # type: ignore[call-arg]
    for i in range(odds):
        even[i] = f4(np.int32(source[2 * i]))
        odd[i] = f4(np.int32(source[2 * i + 1]))
    if evens > odds:
        even[odds] = f4(np.int32(source[2 * odds]))


@kernel
def load_half(near, far, share, more, evens, rows, slot):  # type: ignore[no-untyped-def]
    """Put a row of chroma at half width into a slot, at full width.

    `near` and `far` begin at the tile's first sample; the row is near + share * (far - near).
    `more` says that a sample follows those of the tile.
    """
    even, odd = rows[slot : slot + HALF], rows[slot + HALF : slot + 2 * HALF]
    for i in range(0, evens, LINE):
        prefetch(near, HALF + i)  # type: ignore[call-arg]
    if share == f4(0.0):
        for i in range(evens):
            even[i] = f4(np.int32(near[i]))
        following = f4(np.int32(near[evens])) if more else even[evens - 1]
    else:
        keep = f4(1.0) - share
        for i in range(evens):
            even[i] = keep * f4(np.int32(near[i])) + share * f4(np.int32(far[i]))
        following = even[evens - 1]
        if more:
            following = keep * f4(np.int32(near[evens])) + share * f4(np.int32(far[evens]))
    for i in range(evens - 1):
        odd[i] = f4(0.5) * (even[i] + even[i + 1])
    odd[evens - 1] = f4(0.5) * (even[evens - 1] + following)


@kernel
def store_full(rows, slot, evens, odds, plane, start, scale, column, seed):  # type: ignore[no-untyped-def]
    """Write a slot (even columns, then odd columns) as codes at full width.

    `scale` = factor, offset (which holds the 0.5 of rounding), least and greatest code, dither.
    """
    factor, offset, least, greatest = scale[0], scale[1], scale[2], scale[3]
    even, odd = rows[slot : slot + HALF], rows[slot + HALF : slot + 2 * HALF]
    out = plane[start : start + evens + odds]
    if scale[4] != f4(0.0):
        for i in range(evens):
            at = u4(column + 2 * i)
            even[i] += triangular(at, seed) * scale[5]
            odd[i] += triangular(at + u4(1), seed) * scale[5]
    for i in range(odds):
        a = min(max(even[i] * factor + offset, least), greatest)
        b = min(max(odd[i] * factor + offset, least), greatest)
        out[2 * i] = np.int32(a)
        out[2 * i + 1] = np.int32(b)
    if evens > odds:
        out[2 * odds] = np.int32(min(max(even[odds] * factor + offset, least), greatest))


@kernel
def store_half(rows, slot, before, evens, odds, plane, start, scale, column, seed):  # type: ignore[no-untyped-def]
    """Write a slot as codes at half width, filtered 1-2-1; returns the last odd column, unfiltered.

    `before` is the odd column left of the tile.
    """
    even, odd = rows[slot : slot + HALF], rows[slot + HALF : slot + 2 * HALF]
    if evens > odds:
        odd[odds] = even[odds]
    last = odd[evens - 1]
    factor, offset = scale[0] * f4(0.25), scale[1]
    least, greatest = scale[2], scale[3]
    even[0] = f4(2.0) * even[0] + before + odd[0]
    for i in range(1, evens):
        even[i] = f4(2.0) * even[i] + (odd[i - 1] + odd[i])
    if scale[4] != f4(0.0):
        for i in range(evens):
            even[i] += triangular(u4(column // 2 + i), seed) * (f4(4.0) * scale[5])
    out = plane[start : start + evens]
    for i in range(evens):
        out[i] = np.int32(min(max(even[i] * factor + offset, least), greatest))
    return last
