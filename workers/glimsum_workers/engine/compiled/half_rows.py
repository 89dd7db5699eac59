"""Pictures packed into half floats, plane by plane."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.compiled.halves import bits_of, pack
from glimsum_workers.engine.compiled.kernel import compile_kernel, constant, numba
from glimsum_workers.engine.compiled.tile_rows import Samples

_LARGEST = np.int32(0x477FE000)
_INFINITE = np.int32(0x7F800000)
"""Bits of 65504 and of infinity (IEEE 754-2019, binary32); sizes compare as integers do."""


def _pack_planes(pixels: Samples, planes: NDArray[np.int16], told: NDArray[np.int64]) -> None:
    """Pack (height, width, channels) into planes; tell samples past 65504, and unfinite ones."""
    past: Any = 0
    unfinite: Any = 0
    for y in range(pixels.shape[0]):
        for channel in range(pixels.shape[2]):
            out = planes[channel, y]
            row = pixels[y, :, channel]
            over: Any = np.int32(0)
            bad: Any = np.int32(0)
            for x in range(out.size):
                size = bits_of(row[x]) & np.int32(0x7FFFFFFF)
                over += np.int32(size > _LARGEST)
                bad += np.int32(size >= _INFINITE)
                out[x] = pack(row[x])
            past += over
            unfinite += bad
    told[0], told[1] = past, unfinite


pack_planes: Any = compile_kernel(
    _pack_planes,
    numba.void(constant("float32[:, :, ::1]"), numba.int16[:, :, ::1], numba.int64[::1]),
)
