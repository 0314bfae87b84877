"""Stage A of the grade: where each pixel of a tile lies in the lattice.

Nodes lie at equal steps, along a polynomial or along a table of places. A picture that is steadied
first looks up, for each channel, by how much its signal moves (`steadying`).
"""

from __future__ import annotations

import numpy as np

from evenhand.kernels.compiling import kernel
from evenhand.kernels.lattice_load import COLUMNS
from evenhand.kernels.layout import (
    CB,
    CR,
    HALF,
    LARGE,
    LUMA,
    MIDDLE,
    OFFSET_0,
    OFFSET_1,
    OFFSET_2,
    SMALL,
    TILE,
)
from evenhand.kernels.steadying import move_tile

f4 = np.float32


@kernel
def _place(floats, offsets, x, r, g, b, lattice):  # type: ignore[no-untyped-def]
    """Write offsets and fractions of the tetrahedron that holds lattice coordinates r, g, b.

    `lattice` = greatest coordinate, then the bytes from a node to the next along r, g and b. The
    tetrahedron goes from the cell's first corner along the axis of the largest fraction, then the
    middle, then the smallest (Kasson et al., 1993; the standard tetrahedral interpolation).
    """
    top, step_r, step_g, step_b = lattice
    r = min(max(r, f4(0.0)), top)
    g = min(max(g, f4(0.0)), top)
    b = min(max(b, f4(0.0)), top)
    cell_r, cell_g, cell_b = np.floor(r), np.floor(g), np.floor(b)
    r, g, b = r - cell_r, g - cell_g, b - cell_b
    base = cell_r * step_r + cell_g * step_g + cell_b * step_b
    upper, lower = max(r, g), min(r, g)
    large, small = max(upper, b), min(lower, b)
    middle = max(lower, min(upper, b))
    first = step_r if r == large else (step_g if g == large else step_b)
    third = step_b if b == small else (step_g if g == small else step_r)
    offsets[OFFSET_0 + x] = np.int32(base)
    offsets[OFFSET_1 + x] = np.int32(base + first)
    offsets[OFFSET_2 + x] = np.int32(base + (step_r + step_g + step_b - third))
    floats[LARGE + x] = large
    floats[MIDDLE + x] = middle
    floats[SMALL + x] = small


@kernel
def _coordinates(floats, offsets, count, matrix, lattice):  # type: ignore[no-untyped-def]
    """Stage A for nodes at equal steps.

    `matrix` = factors of Y', of Cr in r, of Cb and Cr in g, of Cb in b, and the shifts of r, g, b.
    """
    luma, red_v, green_u, green_v, blue_u, shift_r, shift_g, shift_b = matrix
    for x in range(count):
        y, u, v = floats[LUMA + x], floats[CB + x], floats[CR + x]
        grey = y * luma
        r = grey + (red_v * v + shift_r)
        g = grey + (green_u * u + (green_v * v + shift_g))
        b = grey + (blue_u * u + shift_b)
        _place(floats, offsets, x, r, g, b, lattice)


@kernel
def _on_curve(place, curve):  # type: ignore[no-untyped-def]
    """Horner's scheme, within -1 … 1."""
    place = min(max(place, f4(-1.0)), f4(1.0))
    c9, c8, c7, c6, c5, c4, c3, c2, c1, c0 = curve
    value = (((c9 * place + c8) * place + c7) * place + c6) * place + c5
    return ((((value * place + c4) * place + c3) * place + c2) * place + c1) * place + c0


@kernel
def _coordinates_on_curve(floats, offsets, count, matrix, lattice, curve):  # type: ignore[no-untyped-def]
    """Stage A for nodes along a polynomial; `matrix` gives places from -1 to 1."""
    luma, red_v, green_u, green_v, blue_u, shift_r, shift_g, shift_b = matrix
    for x in range(count):
        y, u, v = floats[LUMA + x], floats[CB + x], floats[CR + x]
        grey = y * luma
        r = _on_curve(grey + (red_v * v + shift_r), curve)
        g = _on_curve(grey + (green_u * u + (green_v * v + shift_g)), curve)
        b = _on_curve(grey + (blue_u * u + shift_b), curve)
        _place(floats, offsets, x, r, g, b, lattice)


@kernel
def _axis_places(floats, count, matrix, last):  # type: ignore[no-untyped-def]
    """Where r, g and b lie in the axis; they take the place of Y', Cb and Cr."""
    luma, red_v, green_u, green_v, blue_u, shift_r, shift_g, shift_b = matrix
    for x in range(count):
        y, u, v = floats[LUMA + x], floats[CB + x], floats[CR + x]
        grey = y * luma
        floats[LUMA + x] = min(max(grey + (red_v * v + shift_r), f4(0.0)), last)
        green = grey + (green_u * u + (green_v * v + shift_g))
        floats[CB + x] = min(max(green, f4(0.0)), last)
        floats[CR + x] = min(max(grey + (blue_u * u + shift_b), f4(0.0)), last)


@kernel
def _on_axis(floats, segments, count, axis):  # type: ignore[no-untyped-def]
    """Places in the axis -> coordinates in the lattice.

    `axis` = the start and slope of each segment as one 64-bit word, and scratch for those of a
    tile, as words and as floats. Fetching whole words first leaves one load and one store a pixel
    that are not vector code.
    """
    lines, pairs, pair_floats = axis[0], axis[1], axis[2]
    for x in range(count):
        segments[x] = np.int32(floats[x])
    for x in range(count):
        pairs[x] = lines[np.uint64(segments[x])]
    for x in range(count):
        floats[x] = pair_floats[2 * x] + pair_floats[2 * x + 1] * floats[x]


@kernel
def _from_axis(floats, offsets, count, lattice, axis):  # type: ignore[no-untyped-def]
    """Stage A from places in the axis."""
    for slot in (LUMA, CB, CR):
        _on_axis(floats[slot:], offsets, count, axis)
    for x in range(count):
        r, g, b = floats[LUMA + x], floats[CB + x], floats[CR + x]
        _place(floats, offsets, x, r, g, b, lattice)


@kernel
def _from_moved(floats, offsets, count, lattice, axis):  # type: ignore[no-untyped-def]
    """Stage A from places of r, g and b: in the lattice, on its curve or in its axis."""
    if axis[0].size:
        last = np.nextafter(f4(axis[0].size), f4(0.0))
        for slot in (LUMA, CB, CR):
            some = floats[slot:]
            for x in range(count):
                some[x] = min(max(some[x], f4(0.0)), last)
        _from_axis(floats, offsets, count, lattice, axis)
    elif axis[3]:
        for x in range(count):
            r = _on_curve(floats[LUMA + x], axis[4])
            g = _on_curve(floats[CB + x], axis[4])
            b = _on_curve(floats[CR + x], axis[4])
            _place(floats, offsets, x, r, g, b, lattice)
    else:
        for x in range(count):
            r, g, b = floats[LUMA + x], floats[CB + x], floats[CR + x]
            _place(floats, offsets, x, r, g, b, lattice)


@kernel
def stage_a(floats, offsets, evens, odds, matrix, lattice, axis, steady, row):  # type: ignore[no-untyped-def]
    """Stage A of one row; a part tile is worked in whole groups, spare lanes and all.

    `steady` = tables of two rows, memory for nearest entries, and the scale from places in the
    tables to places of the lattice; `row` is 0 or 1. None is compiled to code of its own, so that a
    picture that is not steadied pays nothing.
    """
    parts = ((0, TILE), (0, 0))
    if evens < HALF or odds < HALF:
        parts = ((0, -(-evens // COLUMNS) * COLUMNS), (HALF, -(-odds // COLUMNS) * COLUMNS))
    for start, count in parts:
        some, places = floats[start:], offsets[start:]
        if steady is not None:
            move_tile(some, steady[1][start:], count, matrix, steady[0], row, steady[2])
            _from_moved(some, places, count, lattice, axis)
        elif axis[0].size:
            _axis_places(some, count, matrix, np.nextafter(f4(axis[0].size), f4(0.0)))
            _from_axis(some, places, count, lattice, axis)
        elif axis[3]:
            _coordinates_on_curve(some, places, count, matrix, lattice, axis[4])
        else:
            _coordinates(some, places, count, matrix, lattice)
