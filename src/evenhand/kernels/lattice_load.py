"""Tetrahedral interpolation of several columns at a time, as LLVM vector code.

LLVM does not find this by itself: a vertex of the lattice is one 16-byte load of its channels, and
interpolated pixels are turned by 4x4 transpositions into contiguous rows of one channel.
"""

from __future__ import annotations

from typing import Any

from llvmlite import ir
from numba import types
from numba.extending import intrinsic

from evenhand.kernels import layout
from evenhand.kernels.compiling import kernel

_LANES = 2
"""Pixels side by side in one vector, each with its four channels: 2 fill 256 bits."""
COLUMNS = 4 * _LANES
"""Columns worked at a time."""

_BYTE = ir.IntType(8)
_I32 = ir.IntType(32)
_I64 = ir.IntType(64)
_VERTEX = ir.VectorType(ir.FloatType(), 4)
_VECTOR = ir.VectorType(ir.FloatType(), COLUMNS)
_FAST = ("fast",)


def _shuffle(builder: Any, first: Any, second: Any, lanes: list[int]) -> Any:
    mask = ir.Constant(ir.VectorType(_I32, len(lanes)), lanes)
    return builder.shuffle_vector(first, second, mask)


def _in_lanes(builder: Any, first: Any, second: Any, order: list[int]) -> Any:
    """The same shuffle of four in every lane; 4 … 7 pick from `second`."""
    picks = [4 * k + n + (COLUMNS - 4 if n > 3 else 0) for k in range(_LANES) for n in order]
    return _shuffle(builder, first, second, picks)


def _place(builder: Any, data: Any, index: Any, slot: int) -> Any:
    return builder.gep(data, [builder.add(index, ir.Constant(_I64, slot))])


def _load_columns(builder: Any, data: Any, index: Any, slot: int) -> Any:
    place = builder.bitcast(_place(builder, data, index, slot), _VECTOR.as_pointer())
    loaded = builder.load(place)
    loaded.align = 16
    return loaded


def _store_columns(builder: Any, data: Any, index: Any, slot: int, value: Any) -> None:
    place = builder.bitcast(_place(builder, data, index, slot), _VECTOR.as_pointer())
    builder.store(value, place).align = 16


def _vertices(builder: Any, lattice: Any, offsets: list[Any]) -> Any:
    """One vertex for each lane, as one vector."""
    parts = []
    for offset in offsets:
        place = builder.gep(builder.bitcast(lattice, _BYTE.as_pointer()), [offset])
        loaded = builder.load(builder.bitcast(place, _VERTEX.as_pointer()))
        loaded.align = 16
        parts.append(loaded)
    while len(parts) > 1:
        lanes = list(range(2 * parts[0].type.count))
        pairs = zip(parts[0::2], parts[1::2], strict=True)
        parts = [_shuffle(builder, p, q, lanes) for p, q in pairs]
    return parts[0]


def _weights(builder: Any, floats: Any, index: Any, row: int) -> list[Any]:
    """Four weights from the three sorted fractions.

    They are worked out here, and not read: a weight that is a value and not memory is spread over
    its lane by a shuffle, where LLVM would otherwise load it once for every pixel. Loads are what
    this loop has least of.
    """
    slots = (layout.LARGE, layout.MIDDLE, layout.SMALL)
    large, middle, small = (
        _load_columns(builder, floats, index, s + row * layout.FLOAT_ROW) for s in slots
    )
    one = ir.Constant(_VECTOR, [1.0] * COLUMNS)
    pairs = ((one, large), (large, middle), (middle, small))
    return [*(builder.fsub(p, q, flags=_FAST) for p, q in pairs), small]


def _interpolated(builder: Any, pointers: Any, index: Any, row: int) -> list[Any]:
    """Columns index … index + COLUMNS - 1 of one row: vector k holds columns k, k + 4, …"""
    lattice, diagonal, floats, offsets = pointers
    weights = _weights(builder, floats, index, row)
    vectors = []
    for k in range(4):
        places = []
        for slot in (layout.OFFSET_0, layout.OFFSET_1, layout.OFFSET_2):
            at = slot + row * layout.OFFSET_ROW + k
            loads = [
                builder.load(_place(builder, offsets, index, at + 4 * lane))
                for lane in range(_LANES)
            ]
            places.append([builder.zext(offset, _I64) for offset in loads])
        vertices = [_vertices(builder, lattice, p) for p in places]
        vertices.append(_vertices(builder, diagonal, places[0]))
        total = None
        for vertex, weight in zip(vertices, weights, strict=True):
            spread = _in_lanes(builder, weight, weight, [k] * 4)
            part = builder.fmul(vertex, spread, flags=_FAST)
            total = part if total is None else builder.fadd(total, part, flags=_FAST)
        vectors.append(total)
    return vectors


def _transposed(builder: Any, vectors: list[Any]) -> list[Any]:
    """Four vectors of pixels -> one vector of columns for each channel."""
    a, b, c, d = vectors
    low = [_in_lanes(builder, p, q, [0, 4, 1, 5]) for p, q in ((a, b), (c, d))]
    high = [_in_lanes(builder, p, q, [2, 6, 3, 7]) for p, q in ((a, b), (c, d))]
    orders = ([0, 1, 4, 5], [2, 3, 6, 7])
    return [_in_lanes(builder, p, q, order) for p, q in (low, high) for order in orders]


def _pointers(context: Any, builder: Any, signature: Any, arguments: Any) -> list[Any]:
    return [
        context.make_array(kind)(context, builder, value).data
        for kind, value in zip(signature.args[:4], arguments[:4], strict=True)
    ]


@intrinsic
def _one_row(typing_context, lattice, diagonal, floats, offsets, index):  # type: ignore[no-untyped-def]
    """Some columns of the first row; Y', Cb and Cr go to their slots."""

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        pointers, at = _pointers(context, builder, signature, arguments), arguments[4]
        channels = _transposed(builder, _interpolated(builder, pointers, at, 0))
        for slot, channel in zip((layout.LUMA, layout.CB, layout.CR), channels, strict=False):
            _store_columns(builder, pointers[2], at, slot, channel)
        return context.get_dummy_value()

    return types.void(lattice, diagonal, floats, offsets, types.int64), generate


@intrinsic
def _two_rows(typing_context, lattice, diagonal, floats, offsets, index):  # type: ignore[no-untyped-def]
    """Some columns of both rows; Cb and Cr of the first row become the rows' sums.

    The lattice holds Y' twice (channels 0 and 3), so that [Y' above, sum of Cb, sum of Cr,
    Y' below] needs one transposition instead of two.
    """

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        pointers, at = _pointers(context, builder, signature, arguments), arguments[4]
        above = _interpolated(builder, pointers, at, 0)
        below = _interpolated(builder, pointers, at, 1)
        mixed = []
        for p, q in zip(above, below, strict=True):
            total = builder.fadd(p, q, flags=_FAST)
            upper = _in_lanes(builder, p, total, [0, 5, 6, 3])
            mixed.append(_in_lanes(builder, upper, q, [0, 1, 2, 7]))
        slots = (layout.LUMA, layout.CB, layout.CR, layout.LUMA + layout.FLOAT_ROW)
        for slot, channel in zip(slots, _transposed(builder, mixed), strict=True):
            _store_columns(builder, pointers[2], at, slot, channel)
        return context.get_dummy_value()

    return types.void(lattice, diagonal, floats, offsets, types.int64), generate


@kernel
def interpolate_row(lattice, diagonal, floats, offsets, start, count):  # type: ignore[no-untyped-def]
    """Interpolate `count` columns, a multiple of COLUMNS, of the first row of a tile."""
    for x in range(start, start + count, COLUMNS):
        _one_row(lattice, diagonal, floats, offsets, x)  # type: ignore[call-arg]


@kernel
def interpolate_pair(lattice, diagonal, floats, offsets, start, count):  # type: ignore[no-untyped-def]
    """Interpolate `count` columns, a multiple of COLUMNS, of both rows, summing their chroma."""
    for x in range(start, start + count, COLUMNS):
        _two_rows(lattice, diagonal, floats, offsets, x)  # type: ignore[call-arg]
