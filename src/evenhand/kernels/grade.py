"""The grade of a whole picture in one pass: planes in, planes out.

For each tile of two rows: (load) codes to floats and chroma to full width; (A) the place of each
pixel in the lattice, its tetrahedron and its sorted fractions, which LLVM vectorises; (B) four
loads and multiply-adds a pixel, `lattice_load`; (store) chroma to its sites, rounding.
docs/kernel.md says what each stage costs and what was tried.
"""

from __future__ import annotations

from concurrent.futures import Executor
from typing import Any

import numpy as np
from numpy.typing import NDArray

from evenhand.kernels.compiling import kernel
from evenhand.kernels.frame import (
    PlaneFormat,
    Planes,
    check_planes,
    flat,
    run_bands,
    store_scale,
    thread_scratch,
)
from evenhand.kernels.lattice_load import COLUMNS, interpolate_pair, interpolate_row
from evenhand.kernels.layout import (
    CB,
    CR,
    FLOAT_ROW,
    HALF,
    LARGE,
    LUMA,
    MIDDLE,
    OFFSET_0,
    OFFSET_1,
    OFFSET_2,
    OFFSET_ROW,
    SMALL,
    TILE,
)
from evenhand.kernels.table import CURVE_DEGREE, KernelTable
from evenhand.kernels.tiles import load_tile, store_tile

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
def _coordinates_on_axis(floats, offsets, count, matrix, lattice, axis):  # type: ignore[no-untyped-def]
    """Stage A for nodes along an axis; `matrix` gives places in the axis."""
    _axis_places(floats, count, matrix, np.nextafter(f4(axis[0].size), f4(0.0)))
    for slot in (LUMA, CB, CR):
        _on_axis(floats[slot:], offsets, count, axis)
    for x in range(count):
        r, g, b = floats[LUMA + x], floats[CB + x], floats[CR + x]
        _place(floats, offsets, x, r, g, b, lattice)


@kernel
def _stage_a(floats, offsets, evens, odds, matrix, lattice, axis):  # type: ignore[no-untyped-def]
    """Stage A of one row; a part tile is worked in whole groups, spare lanes and all."""
    parts = ((0, TILE), (0, 0))
    if evens < HALF or odds < HALF:
        parts = ((0, -(-evens // COLUMNS) * COLUMNS), (HALF, -(-odds // COLUMNS) * COLUMNS))
    for start, count in parts:
        some, places = floats[start:], offsets[start:]
        if axis[0].size:
            _coordinates_on_axis(some, places, count, matrix, lattice, axis)
        elif axis[3]:
            _coordinates_on_curve(some, places, count, matrix, lattice, axis[4])
        else:
            _coordinates(some, places, count, matrix, lattice)


@kernel
def _stage_b(values, diagonal, floats, offsets, evens, odds, pair):  # type: ignore[no-untyped-def]
    parts = ((0, TILE), (0, 0))
    if evens < HALF or odds < HALF:
        parts = ((0, -(-evens // COLUMNS) * COLUMNS), (HALF, -(-odds // COLUMNS) * COLUMNS))
    for start, count in parts:
        if pair:
            interpolate_pair(values, diagonal, floats, offsets, start, count)
        else:
            interpolate_row(values, diagonal, floats, offsets, start, count)


@kernel
def _grade_band(source, target, steps, size, formats, table, axis, numbers, frame, rows, memory):  # type: ignore[no-untyped-def]
    """Grade rows[0] … rows[1]; rows[0] is even. `numbers` = matrix, lattice, two store scales."""
    (height, width), (sub, out), (from_steps, to_steps) = size, formats, steps
    values, diagonal = table
    matrix, lattice, scales = numbers
    floats, offsets = memory
    shape = (-(-height // sub[1]), -(-width // sub[0]))
    lower, lower_offsets = (
        floats[FLOAT_ROW : 2 * FLOAT_ROW],
        offsets[OFFSET_ROW : 2 * OFFSET_ROW],
    )
    nothing = (f4(0.0), f4(0.0))
    for y in range(rows[0], rows[1], 2):
        above = below = nothing
        other = min(y + 1, height - 1)
        for x in range(0, width, TILE):
            count = min(TILE, width - x)
            odds = count // 2
            evens = count - odds
            load_tile(source, from_steps, y, x, evens, odds, shape, sub, floats)
            _stage_a(floats, offsets, evens, odds, matrix, lattice, axis)
            load_tile(source, from_steps, other, x, evens, odds, shape, sub, lower)
            _stage_a(lower, lower_offsets, evens, odds, matrix, lattice, axis)
            both = out[1] == 2
            _stage_b(values, diagonal, floats, offsets, evens, odds, both)
            if not both:
                _stage_b(values, diagonal, lower, lower_offsets, evens, odds, False)
            first = (y, y // out[1])
            above = store_tile(
                target, to_steps, first, x, evens, odds, out[0], scales, frame, above, floats
            )
            if other > y:
                rest = (other, -1 if both else other)
                below = store_tile(
                    target, to_steps, rest, x, evens, odds, out[0], scales, frame, below, lower
                )


def _axis_lines(table: KernelTable, top: np.float32) -> NDArray[np.uint64]:
    """Start and slope of each segment of the axis, in coordinates of the lattice; or nothing."""
    if table.curve or not table.axis.size:
        return np.empty(0, np.uint64)
    places = np.arange(table.axis.size)
    values = table.axis.astype(np.float64) * float(top)
    slopes = np.diff(values)
    lines = np.stack([values[:-1] - slopes * places[:-1], slopes], -1).astype(np.float32)
    return lines.view(np.uint64).ravel()


def _matrix(source: PlaneFormat, kr_kb: tuple[float, float], table: KernelTable) -> tuple[Any, ...]:
    """Codes to places in the lattice, its axis or its curve: factors, then shifts, of stage A."""
    first, last = 0.0, float((table.axis.size or table.size) - 1)
    if table.curve:
        first, last = -1.0, 1.0
    per_unit = (last - first) / (table.high - table.low)
    *factors, shift_r, shift_g, shift_b = source.signal_factors(kr_kb)
    shifts = (first + (shift - table.low) * per_unit for shift in (shift_r, shift_g, shift_b))
    return tuple(np.float32(n) for n in (*(f * per_unit for f in factors), *shifts))


def grade_planes(
    src: Planes,
    src_format: PlaneFormat,
    kr_kb: tuple[float, float],
    table: KernelTable,
    dst: Planes,
    dst_format: PlaneFormat,
    *,
    dither: bool = False,
    frame: int = 0,
    threads: int = 2,
    pool: Executor | None = None,
) -> None:
    """Grade a picture from `src` into `dst`, which has the same size.

    `kr_kb` are the matrix coefficients of the source (BT.709: 0.2126, 0.0722). `dither` adds
    triangular noise of plus or minus one code before rounding, a function of column, row and
    `frame` alone. The result does not depend on `threads`. Source codes beyond the format's bits
    are not looked for. Raises ValueError when planes and formats disagree.
    """
    height, width = check_planes(src, src_format, "source")
    if check_planes(dst, dst_format, "target") != (height, width):
        raise ValueError(f"the target is {dst[0].shape}, the source {src[0].shape}")
    sources, source_steps = zip(*(flat(p, False) for p in src), strict=True)
    targets, target_steps = zip(*(flat(p, True) for p in dst), strict=True)
    size, top = table.size, np.nextafter(np.float32(table.size - 1), np.float32(0))
    lattice = tuple(np.float32(n) for n in (top, 16, 16 * size, 16 * size**2))
    luma = store_scale(dst_format, (876.0, 64.0), 0, dither)
    chroma = store_scale(dst_format, (896.0, 512.0), 1, dither)
    values = (table.values, table.values[4 * (1 + size + size**2) :])
    numbers = (_matrix(src_format, kr_kb, table), lattice, (luma, chroma))
    formats = (
        (src_format.sub_x, src_format.sub_y),
        (dst_format.sub_x, dst_format.sub_y),
    )

    lines, is_curve = _axis_lines(table, top), bool(table.curve)
    curve = tuple(np.float32(c) for c in table.curve or (0.0,) * (CURVE_DEGREE + 1))

    def band(first: int, end: int) -> None:
        own = thread_scratch()
        _grade_band(
            sources, targets, (source_steps, target_steps), (height, width), formats, values,
            (lines, own.pairs, own.pair_floats, is_curve, curve), numbers, frame, (first, end),
            (own.floats, own.offsets),
        )  # fmt: skip

    run_bands(band, height, threads, pool)


def warm() -> None:
    """Compile, or read from the cache, what the common formats need.

    Meant for a thread of its own while the first frame decodes. Takes seconds the first time on a
    machine, and hundredths of a second afterwards.
    """
    table = KernelTable.from_lattice(np.full((2, 2, 2, 4), 512, np.float32))
    for bits in (10, 8):
        for target_bits in (10, 8):
            source, target = PlaneFormat(bits), PlaneFormat(target_bits)
            planes = source.empty(2, 2)
            for plane in planes:
                plane[:] = 128
            grade_planes(
                planes, source, (0.2126, 0.0722), table, target.empty(2, 2), target, threads=1
            )
