"""Bytes of scan lines as OpenEXR's ZIP compressors deflate them."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.compiled.kernel import compile_kernel, constant, numba

Bytes = NDArray[np.uint8]


def _part_bytes(raw: Bytes, parted: Bytes, differences: Bytes) -> None:
    """Part first from second bytes, then leave each byte's difference to the one before, + 128."""
    middle = (raw.size + 1) // 2
    for i in range(raw.size // 2):
        parted[i] = raw[2 * i]
        parted[middle + i] = raw[2 * i + 1]
    if raw.size % 2:
        parted[middle - 1] = raw[raw.size - 1]
    differences[0] = parted[0]
    for i in range(1, raw.size):
        differences[i] = parted[i] - parted[i - 1] + np.uint8(128)


_BYTES = numba.types.Array(numba.uint8, 1, "C")

part_bytes: Any = compile_kernel(_part_bytes, numba.void(constant("uint8[::1]"), _BYTES, _BYTES))
