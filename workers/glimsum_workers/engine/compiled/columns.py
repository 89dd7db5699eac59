"""Products of two pictures summed over 16 x 16 pixels, 16 columns at a time.

Written for the compiler, which by itself keeps too little at hand: all rows of the one picture are
read once for several displacements of the other. Each column's products are added up downwards by
`fused` in float32, the columns by halves in float64: one order on every processor.
"""

from collections.abc import Callable
from importlib import import_module
from typing import Any

from llvmlite import ir

from glimsum_workers.engine.compiled.kernel import numba

_extending: Any = import_module("numba.extending")
_cgutils: Any = import_module("numba.core.cgutils")

_SIDE = 16
_FLOATS, _DOUBLES = (ir.VectorType(kind, _SIDE) for kind in (ir.FloatType(), ir.DoubleType()))
_NUMBER = ir.IntType(32)


class _Columns:
    """16 neighbouring columns of a flat array of float32."""

    def __init__(self, builder: Any, data: Any) -> None:
        self._builder, self._data = builder, data
        asked = ir.FunctionType(_FLOATS, [_FLOATS] * 3)
        self._fma = _cgutils.get_or_insert_function(builder.module, asked, "llvm.fma.v16f32")

    def read(self, first: Any, row: int, apart: Any) -> Any:
        """Return a row of the columns."""
        at = self._builder.add(first, self._builder.mul(apart, apart.type(row)))
        address = self._builder.gep(self._data, [at])
        return self._builder.load(self._builder.bitcast(address, _FLOATS.as_pointer()), align=4)

    def add(self, one: Any, other: Any, total: Any) -> Any:
        """Return the total with the product of two rows added to it, rounded once."""
        return self._builder.call(self._fma, [one, other, total])

    def fold(self, total: Any) -> Any:
        """Return the sum of the columns: halves are laid on each other."""
        wide = self._builder.fpext(total, _DOUBLES)
        width = _SIDE
        while width > 1:
            width //= 2
            low, high = (self._half(wide, first, width) for first in (0, width))
            wide = self._builder.fadd(low, high)
        return self._builder.extract_element(wide, _NUMBER(0))

    def _half(self, wide: Any, first: int, width: int) -> Any:
        places = [_NUMBER(first + each) for each in range(width)]
        mask = ir.Constant(ir.VectorType(_NUMBER, width), places)
        return self._builder.shuffle_vector(wide, wide, mask)


def _make_sums(displacements: int) -> Any:
    """Return ``sum_columns(room, one, one_apart, other, other_apart)`` for so many displacements.

    It returns the sums over 16 x 16 pixels of the products of what begins at `one` in a flat
    float32 array and what begins at `other` and at the rows below it; `apart` is from a row to the
    next. No bounds are looked at.
    """

    def build(context: Any, builder: Any, signature: Any, given: Any) -> Any:
        room, one, one_apart, other, other_apart = given
        data = context.make_array(signature.args[0])(context, builder, room).data
        columns = _Columns(builder, data)
        rows = [columns.read(one, row, one_apart) for row in range(_SIDE)]
        totals = [ir.Constant(_FLOATS, [0.0] * _SIDE)] * displacements
        for row in range(_SIDE + displacements - 1):
            there = columns.read(other, row, other_apart)
            for down in range(displacements):
                if 0 <= row - down < _SIDE:
                    totals[down] = columns.add(rows[row - down], there, totals[down])
        sums = [columns.fold(each) for each in totals]
        return context.make_tuple(builder, signature.return_type, sums)

    def sum_columns(  # noqa: PLR0917  # as told above
        context: Any, room: Any, one: Any, one_apart: Any, other: Any, other_apart: Any
    ) -> tuple[Any, Callable[..., Any]]:
        told = numba.types.UniTuple(numba.float64, displacements)
        return told(room, *[numba.uintp] * 4), build

    return _extending.intrinsic(sum_columns)


sum_seven, sum_three, sum_one = (_make_sums(each) for each in (7, 3, 1))
