"""Planar pictures: their formats, their checks, and how bands of rows share the threads."""

from __future__ import annotations

import os
import threading
from collections.abc import Callable
from concurrent.futures import Executor, ThreadPoolExecutor
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.lib.stride_tricks import as_strided
from numpy.typing import NDArray

from evenhand.kernels.layout import Scratch

Planes = tuple[NDArray[Any], NDArray[Any], NDArray[Any]]
"""Y', Cb, Cr: two-dimensional, uint8 or uint16, any row stride; chroma is ceil(size / sub)."""

_SUBSAMPLINGS = ((1, 1), (2, 1), (2, 2))


@dataclass(frozen=True, slots=True)
class PlaneFormat:
    """How the codes of a planar Y'CbCr picture are made (H.273 section 8.3).

    `bits` 8, 10, 12 or 16, in the low bits of the word; `sub_x`, `sub_y` 1 or 2: 4:4:4, 4:2:2 or
    4:2:0; `full` for full range instead of narrow. Chroma is sited left: on even columns, and in
    4:2:0 half-way between two rows. Raises ValueError for any other combination.
    """

    bits: int = 10
    sub_x: int = 2
    sub_y: int = 2
    full: bool = False

    def __post_init__(self) -> None:
        if self.bits not in (8, 10, 12, 16):
            raise ValueError(f"{self.bits} bits: expected 8, 10, 12 or 16")
        if (self.sub_x, self.sub_y) not in _SUBSAMPLINGS:
            raise ValueError(f"subsampling {self.sub_x}x{self.sub_y}: expected 1x1, 2x1 or 2x2")

    @property
    def dtype(self) -> type[np.uint8] | type[np.uint16]:
        """The type of a sample."""
        return np.uint8 if self.bits == 8 else np.uint16

    @property
    def luma_scale(self) -> tuple[float, float]:
        """(codes per unit of Y', code of black)."""
        if self.full:
            return float(2**self.bits - 1), 0.0
        return 219.0 * 2 ** (self.bits - 8), 16.0 * 2 ** (self.bits - 8)

    @property
    def chroma_scale(self) -> tuple[float, float]:
        """(codes per unit of Cb or Cr, which span -0.5 … 0.5, code of neutral)."""
        span = float(2**self.bits - 1) if self.full else 224.0 * 2 ** (self.bits - 8)
        return span, float(2 ** (self.bits - 1))

    @property
    def code_limits(self) -> tuple[int, int]:
        """Least and greatest code written.

        Narrow range leaves out the codes that BT.709 and BT.2100 keep for timing references.
        """
        if self.full:
            return 0, 2**self.bits - 1
        return 2 ** (self.bits - 8), 255 * 2 ** (self.bits - 8) - 1

    def signal_factors(self, kr_kb: tuple[float, float]) -> tuple[float, ...]:
        """Codes -> signal R'G'B' (H.273 equations 38 to 40 solved), as eight numbers.

        Factors of Y' (in all three), of Cr in R', of Cb and of Cr in G', of Cb in B'; then the
        shifts of R', G' and B'. `kr_kb` are the matrix coefficients (BT.709: 0.2126, 0.0722).
        """
        kr, kb = kr_kb
        kg = 1.0 - kr - kb
        luma_span, black = self.luma_scale
        chroma_span, neutral = self.chroma_scale
        luma = 1.0 / luma_span
        red_v, blue_u = 2.0 * (1.0 - kr) / chroma_span, 2.0 * (1.0 - kb) / chroma_span
        green_u, green_v = -blue_u * kb / kg, -red_v * kr / kg
        base = -luma * black
        shifts = (red_v * neutral, (green_u + green_v) * neutral, blue_u * neutral)
        return luma, red_v, green_u, green_v, blue_u, *(base - shift for shift in shifts)

    def chroma_shape(self, height: int, width: int) -> tuple[int, int]:
        """Rows and columns of Cb and Cr for a picture of that size."""
        return -(-height // self.sub_y), -(-width // self.sub_x)

    def empty(self, height: int, width: int) -> Planes:
        """New planes of that size, with undefined content."""
        small = self.chroma_shape(height, width)
        return (
            np.empty((height, width), self.dtype),
            np.empty(small, self.dtype),
            np.empty(small, self.dtype),
        )


def check_planes(planes: Planes, plane_format: PlaneFormat, name: str) -> tuple[int, int]:
    """Height and width of a picture; ValueError where planes and format disagree."""
    height, width = planes[0].shape
    if height < 1 or width < 1:
        raise ValueError(f"{name}: an empty picture, {width}x{height}")
    shapes = ((height, width), *[plane_format.chroma_shape(height, width)] * 2)
    for plane, shape, label in zip(planes, shapes, ("Y'", "Cb", "Cr"), strict=True):
        if plane.shape != shape:
            raise ValueError(f"{name}: {label} is {plane.shape}, expected {shape}")
        if plane.dtype != plane_format.dtype:
            raise ValueError(
                f"{name}: {label} holds {plane.dtype}, expected {np.dtype(plane_format.dtype)}"
            )
    return height, width


def flat(plane: NDArray[Any], writable: bool) -> tuple[NDArray[Any], int]:
    """The memory of a plane as one contiguous dimension, and the step from row to row in it.

    Kernels see one type of array whatever the padding, so that each is compiled once. A plane to
    read whose samples do not lie side by side is copied; one to write raises ValueError.
    """
    rows, columns = plane.shape
    size = plane.itemsize
    step, rest = divmod(plane.strides[0], size)
    packed = columns == 1 or plane.strides[1] == size
    if not packed or rest or step < columns or not plane.flags.aligned:
        if rows > 1 or not packed:
            if writable:
                raise ValueError("the samples of a row to write must lie side by side")
            plane = np.ascontiguousarray(plane)
        step = columns
    length = (rows - 1) * step + columns
    return as_strided(plane, (length,), (size,), writeable=writable), step


def store_scale(
    out: PlaneFormat, values: tuple[float, float], channel: int, dither: bool
) -> NDArray[np.float32]:
    """How the store loops of `rows` turn values into codes of `out`.

    `values` = span and zero of the values of this channel (0 for Y', 1 for Cb and Cr). Returns
    factor, offset with the 0.5 of rounding, least and greatest code, dither or not, and the value
    of one code. In 4:2:0 the values of chroma are sums of two rows.
    """
    span, zero = out.chroma_scale if channel else out.luma_scale
    rows = out.sub_y if channel else 1
    factor = span / values[0]
    offset = zero - values[1] * factor + 0.5
    factor /= rows
    least, greatest = out.code_limits
    return np.array([factor, offset, least, greatest, float(dither), 1.0 / factor], np.float32)


_local = threading.local()


def thread_scratch() -> Scratch:
    """The scratch memory of this thread, made once."""
    if not hasattr(_local, "scratch"):
        _local.scratch = Scratch.new()
    kept: Scratch = _local.scratch
    return kept


@cache
def _own_pool() -> Executor:
    return ThreadPoolExecutor(os.cpu_count() or 1, thread_name_prefix="kernel")


def run_bands(
    band: Callable[[int, int], None], height: int, threads: int, pool: Executor | None
) -> None:
    """Call `band(first, end)` for even bands of rows, on `threads` threads, this one among them.

    Without `pool`, threads of our own are kept for the life of the process. Do not call this from
    a task of the same pool: it waits for its bands.
    """
    pairs = -(-height // 2)
    count = max(1, min(threads, pairs))
    edges = [min(height, 2 * (pairs * k // count)) for k in range(count + 1)]
    if count == 1:
        band(0, height)
        return
    workers = pool or _own_pool()
    waiting = [workers.submit(band, edges[k], edges[k + 1]) for k in range(1, count)]
    try:
        band(edges[0], edges[1])
    finally:
        for task in waiting:
            task.result()
