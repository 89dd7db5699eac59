"""Bytes of scan lines as OpenEXR's ZIP compressors deflate them."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.compiled.kernel import compile_kernel, constant, numba

U = np.uintp
Bytes = NDArray[np.uint8]


def _part_bytes(raw: Bytes, parted: Bytes, differences: Bytes) -> None:
    """Part first from second bytes, then leave each byte's difference to the one before, + 128."""
    pairs = raw.size // 2
    middle = raw.size - pairs
    first, second = parted[:middle], parted[middle:]
    # Addresses without a sign: with one, the compiler does a byte at a time.
    for i in range(U(pairs)):
        first[i] = raw[U(2) * i]
        second[i] = raw[U(2) * i + U(1)]
    if raw.size % 2:
        first[pairs] = raw[raw.size - 1]
    differences[0] = parted[0]
    for i in range(U(1), U(raw.size)):
        differences[i] = np.uint8(parted[i] - parted[i - U(1)] + np.uint8(128))


_BYTES = numba.types.Array(numba.uint8, 1, "C")

part_bytes: Any = compile_kernel(_part_bytes, numba.void(constant("uint8[::1]"), _BYTES, _BYTES))
