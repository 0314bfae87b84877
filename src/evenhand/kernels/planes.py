"""Planes to other planes, and planes to signal R'G'B': everything on planes that is not the grade.

Chroma is taken and made at the same sites as in the grade kernel, by the same loops (`rows`).
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
from evenhand.kernels.layout import CB, CR, FLOAT_ROW, HALF, LUMA, TILE
from evenhand.kernels.tiles import load_tile, store_tile

f4 = np.float32


@kernel
def _convert_band(source, target, steps, size, formats, scales, frame, rows, floats):  # type: ignore[no-untyped-def]
    """Write rows[0] … rows[1] of `target`; rows[0] is even."""
    (height, width), (sub, out), (from_steps, to_steps) = size, formats, steps
    shape = (-(-height // sub[1]), -(-width // sub[0]))
    lower = floats[FLOAT_ROW:]
    both = out[1] == 2
    for y in range(rows[0], rows[1], 2):
        above = below = (f4(0.0), f4(0.0))
        other = min(y + 1, height - 1)
        for x in range(0, width, TILE):
            odds = min(TILE, width - x) // 2
            evens = min(TILE, width - x) - odds
            load_tile(source, from_steps, y, x, evens, odds, shape, sub, floats)
            load_tile(source, from_steps, other, x, evens, odds, shape, sub, lower)
            if both:
                for i in range(CB, CR + TILE):
                    floats[i] += lower[i]
            first = (y, y // out[1])
            above = store_tile(
                target, to_steps, first, x, evens, odds, out[0], scales, frame, above, floats
            )
            if other > y:
                rest = (other, -1 if both else other)
                below = store_tile(
                    target, to_steps, rest, x, evens, odds, out[0], scales, frame, below, lower
                )


def convert_planes(
    src: Planes,
    src_format: PlaneFormat,
    dst: Planes,
    dst_format: PlaneFormat,
    *,
    dither: bool = False,
    frame: int = 0,
    threads: int = 2,
    pool: Executor | None = None,
) -> None:
    """Write a picture in another format of the same matrix: depth, range, subsampling.

    Meant for a scaled or turned 16-bit 4:4:4 picture on its way to the encoder. Arguments, dither
    and errors as `grade.grade_planes`; the result does not depend on `threads`.
    """
    height, width = check_planes(src, src_format, "source")
    if check_planes(dst, dst_format, "target") != (height, width):
        raise ValueError(f"the target is {dst[0].shape}, the source {src[0].shape}")
    sources, source_steps = zip(*(flat(p, False) for p in src), strict=True)
    targets, target_steps = zip(*(flat(p, True) for p in dst), strict=True)
    luma = store_scale(dst_format, src_format.luma_scale, 0, dither)
    chroma = store_scale(dst_format, src_format.chroma_scale, 1, dither)
    formats = ((src_format.sub_x, src_format.sub_y), (dst_format.sub_x, dst_format.sub_y))

    def band(first: int, end: int) -> None:
        _convert_band(
            sources, targets, (source_steps, target_steps), (height, width), formats,
            (luma, chroma), frame, (first, end), thread_scratch().floats,
        )  # fmt: skip

    run_bands(band, height, threads, pool)


def split_semi_planar(
    luma: NDArray[Any], chroma: NDArray[Any], bits: int, *, high_bits: bool
) -> Planes:
    """Y' plane and a plane of Cb, Cr pairs, (h, 2w), as three planes with codes in the low bits.

    `high_bits` says that 16-bit words hold their `bits` at the top, as 10-bit decoders of graphics
    hardware deliver them.
    """
    shift = 16 - bits if high_bits else 0
    parts = (luma, chroma[:, 0::2], chroma[:, 1::2])
    return tuple(np.ascontiguousarray(p >> shift if shift else p) for p in parts)  # type: ignore[return-value]


@kernel
def _signal_band(source, steps, size, sub, matrix, rows, floats, signal):  # type: ignore[no-untyped-def]
    """Write rows[0] … rows[1] of `signal` (h, w, 3), every pixel with its own chroma."""
    height, width = size
    luma, red_v, green_u, green_v, blue_u, shift_r, shift_g, shift_b = matrix
    shape = (-(-height // sub[1]), -(-width // sub[0]))
    for y in range(rows[0], rows[1]):
        for x in range(0, width, TILE):
            count = min(TILE, width - x)
            load_tile(source, steps, y, x, count - count // 2, count // 2, shape, sub, floats)
            for i in range(count):
                at = (i & 1) * HALF + (i >> 1)
                grey, u, v = floats[LUMA + at] * luma, floats[CB + at], floats[CR + at]
                signal[y, x + i, 0] = grey + (red_v * v + shift_r)
                signal[y, x + i, 1] = grey + (green_u * u + (green_v * v + shift_g))
                signal[y, x + i, 2] = grey + (blue_u * u + shift_b)


@kernel
def _box_means(plane, row_step, box, sums, means):  # type: ignore[no-untyped-def]
    """Means over boxes of box[0] rows and box[1] columns; `sums` is scratch of one row."""
    share = f4(1.0) / f4(box[0] * box[1])
    width = means.shape[1] * box[1]
    for j in range(means.shape[0]):
        sums[:width] = 0
        for y in range(j * box[0], (j + 1) * box[0]):
            row = plane[y * row_step : y * row_step + width]
            for x in range(width):
                sums[x] += np.uint32(row[x])
        for i in range(means.shape[1]):
            total = np.uint32(0)
            for x in range(i * box[1], (i + 1) * box[1]):
                total += sums[x]
            means[j, i] = f4(total) * share


def planes_to_signal(
    src: Planes,
    src_format: PlaneFormat,
    kr_kb: tuple[float, float],
    step: int = 1,
    threads: int = 1,
) -> NDArray[np.float32]:
    """Signal R'G'B' of a picture, (h // step, w // step, 3) float32, not clamped.

    With `step` 1 every pixel has its own chroma, sited as in the grade. With a larger one, which is
    a multiple of the subsampling, codes are averaged over boxes of step x step pixels, chroma over
    the samples stored for them; rows and columns that fill no box are left out. ValueError when the
    planes do not fit the format, or the step.
    """
    height, width = check_planes(src, src_format, "source")
    if step < 1 or (step > 1 and (step % src_format.sub_x or step % src_format.sub_y)):
        raise ValueError(f"step {step}: expected 1 or a multiple of the subsampling")
    if step > min(height, width):
        raise ValueError(f"step {step} is larger than the picture, {width}x{height}")
    flats, steps = zip(*(flat(p, False) for p in src), strict=True)
    signal = np.empty((height // step, width // step, 3), np.float32)
    matrix = tuple(np.float32(n) for n in src_format.signal_factors(kr_kb))
    sub = (src_format.sub_x, src_format.sub_y)
    if step == 1:

        def band(first: int, end: int) -> None:
            floats = thread_scratch().floats
            _signal_band(flats, steps, (height, width), sub, matrix, (first, end), floats, signal)

        run_bands(band, height, threads, None)
        return signal
    means = np.empty((3, *signal.shape[:2]), np.float32)
    sums = np.empty(width, np.uint32)
    for k, plane in enumerate(flats):
        box = (step // sub[1], step // sub[0]) if k else (step, step)
        _box_means(plane, steps[k], box, sums, means[k])
    luma, red_v, green_u, green_v, blue_u, *shifts = matrix
    signal[..., 0] = means[0] * luma + means[2] * red_v
    signal[..., 1] = means[0] * luma + means[1] * green_u + means[2] * green_v
    signal[..., 2] = means[0] * luma + means[1] * blue_u
    signal += np.array(shifts, np.float32)
    return signal
