"""The grade of a whole picture in one pass: planes in, planes out.

For each tile of two rows: (load) codes to floats and chroma to full width; (A) the place of each
pixel in the lattice, its tetrahedron and its sorted fractions, `coordinates`; (B) four
loads and multiply-adds a pixel, `lattice_load`; (store) chroma to its sites, rounding.
docs/kernel.md says what each stage costs and what was tried.
"""

from __future__ import annotations

from concurrent.futures import Executor
from typing import Any

import numpy as np
from numpy.typing import NDArray

from evenhand.kernels.compiling import kernel
from evenhand.kernels.coordinates import stage_a
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
from evenhand.kernels.layout import FLOAT_ROW, HALF, MOVES, OFFSET_ROW, TILE, Scratch
from evenhand.kernels.steadying import row_tables
from evenhand.kernels.table import CURVE_DEGREE, KernelTable, SteadyMoves
from evenhand.kernels.tiles import load_tile, store_tile

f4 = np.float32


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
def _grade_band(  # type: ignore[no-untyped-def]
    source, target, steps, size, formats, table, axis, steady, numbers, frame, rows, memory
):
    """Grade rows[0] … rows[1]; rows[0] is even. `numbers` = matrix, lattice, two store scales.

    `steady` as `stage_a` takes it, then the levels and the places of rows among them.
    """
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
    second = 0  # the row whose tables the lower row of a tile takes
    if steady is not None:
        tables, _, scale, levels, row_places = steady
        second = 1 if row_places.size > 3 else 0
        row_tables(levels, row_places, 0, scale[2], tables, 0)
    for y in range(rows[0], rows[1], 2):
        above = below = nothing
        other = min(y + 1, height - 1)
        if steady is not None and second:
            row_tables(levels, row_places, y, scale[2], tables, 0)
            row_tables(levels, row_places, other, scale[2], tables, 1)
        for x in range(0, width, TILE):
            count = min(TILE, width - x)
            odds = count // 2
            evens = count - odds
            load_tile(source, from_steps, y, x, evens, odds, shape, sub, floats)
            stage_a(floats, offsets, evens, odds, matrix, lattice, axis, steady, 0)
            load_tile(source, from_steps, other, x, evens, odds, shape, sub, lower)
            stage_a(lower, lower_offsets, evens, odds, matrix, lattice, axis, steady, second)
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


def _ends(table: KernelTable) -> tuple[float, float]:
    """Where stage A counts places from and to: in the lattice, its axis or its curve."""
    return (-1.0, 1.0) if table.curve else (0.0, float((table.axis.size or table.size) - 1))


def _matrix(
    source: PlaneFormat,
    kr_kb: tuple[float, float],
    domain: tuple[float, float],
    ends: tuple[float, float],
) -> tuple[Any, ...]:
    """Codes to places from ends[0] to ends[1], for signals of `domain`: factors, then shifts."""
    per_unit = (ends[1] - ends[0]) / (domain[1] - domain[0])
    *factors, shift_r, shift_g, shift_b = source.signal_factors(kr_kb)
    shifts = (ends[0] + (shift - domain[0]) * per_unit for shift in (shift_r, shift_g, shift_b))
    return tuple(np.float32(n) for n in (*(f * per_unit for f in factors), *shifts))


def _steadying(
    table: KernelTable, moves: SteadyMoves | None, own: Scratch
) -> tuple[Any, ...] | None:
    """What the kernel wants to know of steadying."""
    if moves is None:
        return None
    first, last = _ends(table)
    per_unit = (last - first) / (table.high - table.low)
    step = (moves.high - moves.low) / (MOVES - 1)
    scale = (step * per_unit, first + (moves.low - table.low) * per_unit, per_unit)
    numbers = tuple(np.float32(n) for n in scale)
    return own.tables, own.nearest, numbers, moves.levels, moves.places.ravel()


def grade_planes(
    src: Planes,
    src_format: PlaneFormat,
    kr_kb: tuple[float, float],
    table: KernelTable,
    dst: Planes,
    dst_format: PlaneFormat,
    *,
    moves: SteadyMoves | None = None,
    dither: bool = False,
    frame: int = 0,
    threads: int = 2,
    pool: Executor | None = None,
) -> None:
    """Grade a picture from `src` into `dst`, which has the same size.

    `kr_kb` are the matrix coefficients of the source (BT.709: 0.2126, 0.0722). `moves` steady the
    signal first, by the rows of `src`. `dither` adds triangular noise of plus or minus one code
    before rounding, a function of column, row and `frame` alone. The result does not depend on
    `threads`. Source codes beyond the format's bits are not looked for. Raises ValueError when
    planes and formats disagree, or moves are of another height.
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
    places, ends = (table.low, table.high), _ends(table)
    if moves is not None:
        places, ends = (moves.low, moves.high), (0.0, float(MOVES - 1))
        if len(moves.places) not in (1, height):
            raise ValueError(f"moves of {len(moves.places)} rows for a picture of {height}")
    numbers = (_matrix(src_format, kr_kb, places, ends), lattice, (luma, chroma))
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
            (lines, own.pairs, own.pair_floats, is_curve, curve), _steadying(table, moves, own),
            numbers, frame, (first, end), (own.floats, own.offsets),
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
