"""Asking for memory before it is needed."""

from __future__ import annotations

from typing import Any

from llvmlite import ir
from numba import types
from numba.extending import intrinsic

_BYTE = ir.IntType(8)
_I32 = ir.IntType(32)
_READ, _KEEP, _DATA = 0, 3, 1


@intrinsic
def prefetch(typing_context, array, index):  # type: ignore[no-untyped-def]
    """Begin to fetch the cache line of array[index], which may lie beyond the array's end.

    The processor finds rows by itself, but a tile's first lines come late: between two tiles of the
    same rows lie thousands of instructions. See docs/kernel.md.
    """

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        data = context.make_array(signature.args[0])(context, builder, arguments[0]).data
        place = builder.bitcast(builder.gep(data, [arguments[1]]), _BYTE.as_pointer())
        kind = ir.FunctionType(ir.VoidType(), [_BYTE.as_pointer(), _I32, _I32, _I32])
        call = builder.module.declare_intrinsic("llvm.prefetch", [_BYTE.as_pointer()], kind)
        builder.call(call, [place, _I32(_READ), _I32(_KEEP), _I32(_DATA)])
        return context.get_dummy_value()

    return types.void(array, types.intp), generate
