"""The sum over a square of 8 x 8 pixels, written for the compiler eight floats at a time.

Each sum has one order and nothing is fused, so bits are the same on every processor; one without
eight floats a step takes two.
"""

from importlib import import_module
from typing import Any

from llvmlite import ir

from glimsum_workers.engine.compiled.kernel import numba

_extending: Any = import_module("numba.extending")

FLOATS = 4
"""From pixel to pixel: red, green, blue and nothing, so that eight floats are two pixels."""

_SIDE = 8
_FLOAT, _INDEX = ir.FloatType(), ir.IntType(64)
_EIGHT = ir.VectorType(_FLOAT, _SIDE)


class _Builder:
    """The few operations a sum is made of."""

    def __init__(self, context: Any, builder: Any) -> None:
        self._context = context
        self.make = builder

    def start_of(self, kind: Any, array: Any) -> Any:
        """Return the address of an array's first float."""
        made = self._context.make_array(kind)(self._context, self.make, array)
        return self.make.bitcast(made.data, _FLOAT.as_pointer())

    def load(self, start: Any, index: Any, kind: Any = _EIGHT) -> Any:
        """Return what lies from ``start[index]`` on."""
        at = self.make.bitcast(self.make.gep(start, [index]), kind.as_pointer())
        loaded = self.make.load(at)
        loaded.align = 4
        return loaded

    def pick(self, vector: Any, places: list[int]) -> Any:
        """Return the floats of `vector` at some places."""
        mask = ir.Constant(ir.VectorType(ir.IntType(32), len(places)), places)
        return self.make.shuffle_vector(vector, ir.Constant(_EIGHT, ir.Undefined), mask)

    def taps(self, nodes: Any, node: Any, share: Any) -> Any:
        """Return the taps between two nodes of a table."""
        first = self.make.mul(node, _INDEX(_SIDE))
        low = self.load(nodes, first)
        high = self.load(nodes, self.make.add(first, _INDEX(_SIDE)))
        shares = self.make.insert_element(
            ir.Constant(_EIGHT, ir.Undefined), share, ir.IntType(32)(0)
        )
        step = self.make.fmul(self.pick(shares, [0] * _SIDE), self.make.fsub(high, low))
        return self.make.fadd(low, step)

    def total(self, parts: list[Any]) -> Any:
        """Return the sum of some vectors, in their order."""
        result = parts[0]
        for part in parts[1:]:
            result = self.make.fadd(result, part)
        return result


def _sum_square(  # noqa: PLR0917  # asked for in a loop
    context: Any, pixels: Any, first: Any, line: Any, table: Any, node_right: Any,
    share_right: Any, node_down: Any, share_down: Any, sums: Any,
) -> Any:  # fmt: skip  # numba asks for all
    """Put the sum over a square into ``sums[:4]``.

    `pixels` are one row of floats, `first` the index of the square's first, `line` the floats
    from line to line; taps lie between a node of the table and the next.
    """

    def build(context: Any, builder: Any, signature: Any, given: Any) -> Any:
        do = _Builder(context, builder)
        starts = (do.start_of(signature.args[each], given[each]) for each in (0, 3, 8))
        source, nodes, made_at = starts
        right = do.taps(nodes, given[4], given[5])
        down = do.taps(nodes, given[6], given[7])
        heights = [do.pick(down, [row] * _SIDE) for row in range(_SIDE)]
        columns = []
        for pair in range(_SIDE // 2):
            lines = []
            for row, height in enumerate(heights):
                beyond = builder.mul(given[2], _INDEX(row))
                at = builder.add(given[1], builder.add(beyond, _INDEX(2 * FLOATS * pair)))
                lines.append(builder.fmul(height, do.load(source, at)))
            width = do.pick(right, [2 * pair] * FLOATS + [2 * pair + 1] * FLOATS)
            columns.append(builder.fmul(width, do.total(lines)))
        both = do.total(columns)
        halves = (do.pick(both, [0, 1, 2, 3]), do.pick(both, [4, 5, 6, 7]))
        made = builder.fadd(*halves)
        place = builder.bitcast(made_at, made.type.as_pointer())
        builder.store(made, place).align = 4
        return context.get_dummy_value()

    index, share = numba.int64, numba.float32
    asked = (pixels, index, index, table, index, share, index, share, sums)
    return numba.void(*asked), build


sum_square: Any = _extending.intrinsic(_sum_square)
