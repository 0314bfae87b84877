"""Tetrahedral interpolation of four columns at a time, as LLVM vector code.

LLVM does not find this by itself: a vertex of the lattice is one 16-byte load of its channels, and
four interpolated pixels are turned by a 4x4 transposition into contiguous rows of one channel.
"""

from __future__ import annotations

from typing import Any

from llvmlite import ir
from numba import types
from numba.extending import intrinsic

from evenhand.kernels import layout
from evenhand.kernels.compiling import kernel

_FLOAT = ir.FloatType()
_BYTE = ir.IntType(8)
_I32 = ir.IntType(32)
_I64 = ir.IntType(64)
_VECTOR = ir.VectorType(_FLOAT, 4)
_FAST = ("fast",)


def _shuffle(builder: Any, first: Any, second: Any, lanes: list[int]) -> Any:
    mask = ir.Constant(ir.VectorType(_I32, len(lanes)), lanes)
    return builder.shuffle_vector(first, second, mask)


def _address(builder: Any, data: Any, elements: Any) -> Any:
    return builder.gep(data, [elements])


def _load_four(builder: Any, data: Any, index: Any, slot: int) -> Any:
    place = builder.gep(data, [builder.add(index, ir.Constant(_I64, slot))])
    loaded = builder.load(builder.bitcast(place, _VECTOR.as_pointer()))
    loaded.align = 16
    return loaded


def _store_four(builder: Any, data: Any, index: Any, slot: int, value: Any) -> None:
    place = builder.gep(data, [builder.add(index, ir.Constant(_I64, slot))])
    builder.store(value, builder.bitcast(place, _VECTOR.as_pointer())).align = 16


def _vertex(builder: Any, lattice: Any, offset: Any) -> Any:
    place = builder.gep(builder.bitcast(lattice, _BYTE.as_pointer()), [offset])
    loaded = builder.load(builder.bitcast(place, _VECTOR.as_pointer()))
    loaded.align = 16
    return loaded


def _four_pixels(builder: Any, pointers: Any, index: Any, row: int) -> list[Any]:
    """Interpolate columns index … index + 3 of one row: four vectors of four channels."""
    lattice, diagonal, floats, offsets = pointers
    slots = (layout.WEIGHT_0, layout.WEIGHT_1, layout.WEIGHT_2, layout.WEIGHT_3)
    weights = [_load_four(builder, floats, index, s + row * layout.FLOAT_ROW) for s in slots]
    pixels = []
    for k in range(4):
        places = []
        for slot in (layout.OFFSET_0, layout.OFFSET_1, layout.OFFSET_2):
            at = ir.Constant(_I64, slot + row * layout.OFFSET_ROW + k)
            offset = builder.load(builder.gep(offsets, [builder.add(index, at)]))
            places.append(builder.zext(offset, _I64))
        vertices = [_vertex(builder, lattice, p) for p in places]
        vertices.append(_vertex(builder, diagonal, places[0]))
        total = None
        for vertex, weight in zip(vertices, weights, strict=True):
            part = builder.fmul(vertex, _shuffle(builder, weight, weight, [k] * 4), flags=_FAST)
            total = part if total is None else builder.fadd(total, part, flags=_FAST)
        pixels.append(total)
    return pixels


def _transposed(builder: Any, rows: list[Any]) -> list[Any]:
    """Four vectors of four channels -> four vectors of four columns."""
    a, b, c, d = rows
    low = [_shuffle(builder, p, q, [0, 4, 1, 5]) for p, q in ((a, b), (c, d))]
    high = [_shuffle(builder, p, q, [2, 6, 3, 7]) for p, q in ((a, b), (c, d))]
    first, last = [0, 1, 4, 5], [2, 3, 6, 7]
    return [_shuffle(builder, p, q, lanes) for p, q in (low, high) for lanes in (first, last)]


def _pointers(context: Any, builder: Any, signature: Any, arguments: Any) -> list[Any]:
    return [
        context.make_array(kind)(context, builder, value).data
        for kind, value in zip(signature.args[:4], arguments[:4], strict=True)
    ]


@intrinsic
def _one_row(typing_context, lattice, diagonal, floats, offsets, index):  # type: ignore[no-untyped-def]
    """Columns index … index + 3 of the first row; Y', Cb and Cr go to their slots."""

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        pointers, at = _pointers(context, builder, signature, arguments), arguments[4]
        channels = _transposed(builder, _four_pixels(builder, pointers, at, 0))
        for slot, channel in zip((layout.LUMA, layout.CB, layout.CR), channels, strict=False):
            _store_four(builder, pointers[2], at, slot, channel)
        return context.get_dummy_value()

    return types.void(lattice, diagonal, floats, offsets, types.int64), generate


@intrinsic
def _two_rows(typing_context, lattice, diagonal, floats, offsets, index):  # type: ignore[no-untyped-def]
    """Columns index … index + 3 of both rows; Cb and Cr of the first row become the rows' sums.

    The lattice holds Y' twice (channels 0 and 3), so that [Y' above, sum of Cb, sum of Cr,
    Y' below] needs one transposition instead of two.
    """

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        pointers, at = _pointers(context, builder, signature, arguments), arguments[4]
        above = _four_pixels(builder, pointers, at, 0)
        below = _four_pixels(builder, pointers, at, 1)
        mixed = []
        for p, q in zip(above, below, strict=True):
            total = builder.fadd(p, q, flags=_FAST)
            mixed.append(
                _shuffle(builder, _shuffle(builder, p, total, [0, 5, 6, 3]), q, [0, 1, 2, 7])
            )
        slots = (layout.LUMA, layout.CB, layout.CR, layout.LUMA + layout.FLOAT_ROW)
        for slot, channel in zip(slots, _transposed(builder, mixed), strict=True):
            _store_four(builder, pointers[2], at, slot, channel)
        return context.get_dummy_value()

    return types.void(lattice, diagonal, floats, offsets, types.int64), generate


@kernel
def interpolate_row(lattice, diagonal, floats, offsets, start, count):  # type: ignore[no-untyped-def]
    """Interpolate `count` columns (a multiple of 4) of the first row of a tile, from `start`."""
    for x in range(start, start + count, 4):
        _one_row(lattice, diagonal, floats, offsets, x)  # type: ignore[call-arg]


@kernel
def interpolate_pair(lattice, diagonal, floats, offsets, start, count):  # type: ignore[no-untyped-def]
    """Interpolate `count` columns (a multiple of 4) of both rows of a tile, summing chroma."""
    for x in range(start, start + count, 4):
        _two_rows(lattice, diagonal, floats, offsets, x)  # type: ignore[call-arg]
