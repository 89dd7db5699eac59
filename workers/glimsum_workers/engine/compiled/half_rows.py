"""Pictures packed into half floats, plane by plane."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.compiled.halves import bits_of, pack
from glimsum_workers.engine.compiled.kernel import compile_kernel, constant, numba
from glimsum_workers.engine.compiled.tile_rows import Samples

U = np.uintp
_PIECE = 1024
"""Pixels that are packed at once, then parted: they stay in the nearest cache."""
_LARGEST = np.int32(0x477FE000)
_INFINITE = np.int32(0x7F800000)
"""Bits of 65504 and of infinity (IEEE 754-2019, binary32); sizes compare as integers do."""


def _pack_planes(pixels: Samples, planes: NDArray[np.int16], told: NDArray[np.int64]) -> None:
    """Pack (height, width, channels) into planes; tell samples past 65504, and unfinite ones."""
    channels = pixels.shape[2]
    packed = np.empty(_PIECE * channels, np.int16)
    told[:] = 0
    for y in range(pixels.shape[0]):
        row = pixels[y].reshape(-1)
        for left in range(0, planes.shape[2], _PIECE):
            count = min(_PIECE, planes.shape[2] - left)
            over: Any = np.int32(0)
            bad: Any = np.int32(0)
            source = row[left * channels : (left + count) * channels]
            for i in range(U(source.size)):
                # Each number of 32 bits is named so: numba makes 64 of them, and half the speed.
                size = np.int32(bits_of(source[i]) & np.int32(0x7FFFFFFF))
                over = np.int32(over + np.int32(size > _LARGEST))
                bad = np.int32(bad + np.int32(size >= _INFINITE))
                packed[i] = pack(source[i])
            told[0] += over
            told[1] += bad
            for channel in range(channels):
                out = planes[channel, y, left : left + count]
                for x in range(U(count)):
                    out[x] = packed[U(channels) * x + U(channel)]


pack_planes: Any = compile_kernel(
    _pack_planes,
    numba.void(constant("float32[:, :, ::1]"), numba.int16[:, :, ::1], numba.int64[::1]),
)
