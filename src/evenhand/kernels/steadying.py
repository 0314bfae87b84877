"""Steadying inside the grade: by how much each channel's signal moves, looked up in tables.

What is kept is the move and not the moved signal: it changes so little from one signal to the next
that the nearest entry of the table is enough, and one load a channel is what it costs.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from llvmlite import ir
from numba import types
from numba.extending import intrinsic

from evenhand.kernels.compiling import kernel
from evenhand.kernels.layout import CB, CR, LUMA, MOVES, SLOT

f4 = np.float32
_LANES = 16
"""Pixels moved at a time."""
_I32, _I64, _FLOAT = ir.IntType(32), ir.IntType(64), ir.FloatType()
_VECTOR = ir.VectorType(_FLOAT, _LANES)
_FAST = ("fast",)


@kernel
def row_tables(levels, places, row, scale, tables, which):  # type: ignore[no-untyped-def]
    """The tables of r, g and b of one row, between the two nearest levels.

    `levels` is flat, one table of MOVES entries a level; `places` is flat, three places among the
    levels for each row. Moves are multiplied by `scale`; `which` of two rows they become.
    """
    for channel in range(3):
        place = places[3 * row + channel]
        level = np.int32(place)
        share = (place - f4(level)) * scale
        keep = scale - share
        start = level * MOVES
        near = levels[start : start + MOVES]
        # one past the last level is there, with a share of nothing
        far = levels[start + MOVES : start + 2 * MOVES]
        begin = (3 * which + channel) * MOVES
        out = tables[begin : begin + MOVES]
        for i in range(MOVES):
            out[i] = keep * near[i] + share * far[i]


@kernel
def _table_places(floats, nearest, count, matrix):  # type: ignore[no-untyped-def]
    """Where r, g and b lie in their tables; they take the place of Y', Cb and Cr."""
    luma, red_v, green_u, green_v, blue_u, shift_r, shift_g, shift_b = matrix
    first, last, half = f4(0.0), f4(MOVES - 1), f4(0.5)
    for x in range(count):
        y, u, v = floats[LUMA + x], floats[CB + x], floats[CR + x]
        grey = y * luma
        r = min(max(grey + (red_v * v + shift_r), first), last)
        g = min(max(grey + (green_u * u + (green_v * v + shift_g)), first), last)
        b = min(max(grey + (blue_u * u + shift_b), first), last)
        floats[LUMA + x] = r
        floats[CB + x] = g
        floats[CR + x] = b
        nearest[LUMA + x] = np.int32(r + half)
        nearest[CB + x] = np.int32(g + half)
        nearest[CR + x] = np.int32(b + half)


@intrinsic
def _move(typing_context, floats, nearest, table, index, factor, shift):  # type: ignore[no-untyped-def]
    """floats = floats · factor + shift + table[nearest], for the pixels from index on.

    LLVM does not find by itself that loads can go straight into a vector that is never stored.
    """

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        data, indices, entries = (
            context.make_array(kind)(context, builder, value).data
            for kind, value in zip(signature.args[:3], arguments[:3], strict=True)
        )
        at = arguments[3]
        moves = ir.Constant(_VECTOR, ir.Undefined)
        for lane in range(_LANES):
            place = builder.add(at, ir.Constant(_I64, lane))
            entry = builder.zext(builder.load(builder.gep(indices, [place])), _I64)
            move = builder.load(builder.gep(entries, [entry]))
            moves = builder.insert_element(moves, move, ir.Constant(_I32, lane))
        target = builder.bitcast(builder.gep(data, [at]), _VECTOR.as_pointer())
        places = builder.load(target)
        places.align = 16
        spread = [_spread(builder, value) for value in arguments[4:]]
        scaled = builder.fmul(places, spread[0], flags=_FAST)
        moves = builder.fadd(moves, spread[1], flags=_FAST)
        builder.store(builder.fadd(scaled, moves, flags=_FAST), target).align = 16
        return context.get_dummy_value()

    return types.void(floats, nearest, table, types.int64, factor, shift), generate


def _spread(builder: Any, value: Any) -> Any:
    one = builder.insert_element(ir.Constant(_VECTOR, ir.Undefined), value, ir.Constant(_I32, 0))
    lanes = ir.Constant(ir.VectorType(_I32, _LANES), [0] * _LANES)
    return builder.shuffle_vector(one, one, lanes)


@kernel
def move_tile(floats, nearest, count, matrix, tables, row, scale):  # type: ignore[no-untyped-def]
    """Y', Cb and Cr of a part of a tile become moved places of r, g and b.

    `matrix` gives places in the tables, scale = factor and shift from those to the places wanted,
    in whose unit the moves of `tables` are. Spare lanes are worked on as they are.
    """
    _table_places(floats, nearest, count, matrix)
    factor, shift = scale[0], scale[1]
    for channel in range(3):
        begin = (3 * row + channel) * MOVES
        table = tables[begin : begin + MOVES]
        places, entries = floats[channel * SLOT :], nearest[channel * SLOT :]
        for x in range(0, count, _LANES):
            _move(places, entries, table, x, factor, shift)  # type: ignore[call-arg]
