"""Ask for memory before it is needed.

Tiles go down a picture row by row: each row of a tile lies in a page of its own, which no
processor foresees.
"""

from importlib import import_module
from typing import Any

from llvmlite import ir

from glimsum_workers.engine.compiled.kernel import compile_kernel, numba

_extending: Any = import_module("numba.extending")
_cgutils: Any = import_module("numba.core.cgutils")

LINE_BYTES = 64
"""Of a cache line, on nearly all processors."""


def _fetch(context: Any, array: Any, row: Any, column: Any) -> Any:  # numba asks for all
    """Fetch the cache line of ``array[row, column]`` without waiting; no bounds are looked at."""

    def build(context: Any, builder: Any, signature: Any, given: Any) -> Any:
        kind = signature.args[0]
        made = context.make_array(kind)(context, builder, given[0])
        strides = _cgutils.unpack_tuple(builder, made.strides, kind.ndim)
        address = builder.ptrtoint(made.data, ir.IntType(64))
        for index, stride in zip(given[1:], strides, strict=False):
            address = builder.add(address, builder.mul(index, stride))
        byte, number = ir.IntType(8).as_pointer(), ir.IntType(32)
        asked = ir.FunctionType(ir.VoidType(), [byte, number, number, number])
        prefetch = _cgutils.get_or_insert_function(builder.module, asked, "llvm.prefetch.p0")
        # To be read, soon used again, data.
        wishes = [number(each) for each in (0, 3, 1)]
        builder.call(prefetch, [builder.inttoptr(address, byte), *wishes])
        return context.get_dummy_value()

    return numba.void(array, numba.int64, numba.int64), build


fetch: Any = _extending.intrinsic(_fetch)


def _fetch_row(array: Any, row: int, first: int, last: int, step: int) -> None:
    """Fetch columns `first` to `last` of a row, if there is such a row; `step` a cache line."""
    if 0 <= row < array.shape[0]:
        for column in range(max(first, 0), min(last, array.shape[1]), step):
            fetch(array, row, column)


fetch_row: Any = compile_kernel(_fetch_row)
