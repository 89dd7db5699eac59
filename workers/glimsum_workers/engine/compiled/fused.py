"""A product and a sum rounded once, alike on every processor.

fusedMultiplyAdd of IEEE 754-2008 is one operation with one result: asked for by name it gives the
same bits everywhere, which a compiler's own joining of operations would not. Processors without it
(x86-64 before 2013) work it out with integers, many times slower.
"""

from importlib import import_module
from typing import Any

from glimsum_workers.engine.compiled.kernel import numba

_extending: Any = import_module("numba.extending")


def _fused(context: Any, a: Any, b: Any, c: Any) -> Any:  # numba asks for all
    """Return ``a * b + c`` of float32, rounded once."""

    def build(_context: Any, builder: Any, _signature: Any, given: Any) -> Any:
        return builder.fma(*given)

    return numba.float32(numba.float32, numba.float32, numba.float32), build


fused: Any = _extending.intrinsic(_fused)
