"""Values looked up in tables: codes that become light."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.compiled.kernel import compile_kernel, constant, numba

U = np.uintp
Samples = NDArray[np.float32]


def _look_up(codes: NDArray[np.unsignedinteger[Any]], table: Samples, light: Samples) -> Any:
    """Put ``table[codes]`` into `light`; return the highest code, for which the last stands in."""
    highest: Any = 0
    last = U(table.size - 1)
    for i in range(U(codes.size)):
        code = U(codes[i])
        highest = max(highest, code)
        light[i] = table[min(code, last)]
    return highest


def _look_up_mean(
    codes: NDArray[np.unsignedinteger[Any]], table: Samples, top: int, mean: Samples,
    reached: NDArray[np.bool_],
) -> Any:  # fmt: skip
    """Put the mean of three entries into `mean`, and whether one of three codes reaches `top`.

    Returns the highest code, for which the last entry stands in.
    """
    highest: Any = 0
    last, limit, third = U(table.size - 1), U(top), np.float32(1 / 3)
    for i in range(U(mean.size)):
        at = U(3) * i
        red, green, blue = U(codes[at]), U(codes[at + U(1)]), U(codes[at + U(2)])
        most = max(red, green, blue)
        highest = max(highest, most)
        reached[i] = most >= limit
        total = table[min(red, last)] + table[min(green, last)] + table[min(blue, last)]
        mean[i] = total * third
    return highest


def _enter_table(values: Samples, low: np.float32, scale: np.float32, table: Samples) -> None:
    """Replace each value by the entry ``(value - low) * scale`` of `table`, the ends held."""
    last = np.float32(table.size - 1)
    for i in range(U(values.size)):
        step = (values[i] - low) * scale
        values[i] = table[U(np.int32(min(max(step, np.float32(0)), last)))]


_TABLE = constant("float32[::1]")

look_up: Any = compile_kernel(
    _look_up,
    *(
        numba.int64(constant(f"{kind}[::1]"), _TABLE, numba.float32[::1])
        for kind in ("uint8", "uint16")
    ),
)
look_up_mean: Any = compile_kernel(
    _look_up_mean,
    *(
        numba.int64(
            constant(f"{kind}[::1]"), _TABLE, numba.int64, numba.float32[::1], numba.boolean[::1]
        )
        for kind in ("uint8", "uint16")
    ),
)
enter_table: Any = compile_kernel(
    _enter_table, numba.void(numba.float32[::1], numba.float32, numba.float32, _TABLE)
)
