"""Half floats as bits, to and from float32: alike on every processor.

The processor's own conversions where it has them, else integers. Both give the same bits:
widening is exact, and rounding to nearest even is IEEE 754's alone.
"""

import platform
from importlib import import_module
from typing import Any

import numpy as np
from llvmlite import binding, ir

from glimsum_workers.engine.compiled.kernel import numba

_extending: Any = import_module("numba.extending")

# IEEE 754-2019: binary16 has 5 bits of exponent (bias 15) and 10 of fraction, binary32 8 (127)
# and 23. Biases differ by 112, fractions by 13 bits.


def _float_of(context: Any, bits: Any) -> Any:  # numba asks for both
    """Return the float32 with the bits of an int32."""

    def build(_context: Any, builder: Any, _signature: Any, given: Any) -> Any:
        return builder.bitcast(given[0], ir.FloatType())

    return numba.float32(numba.int32), build


def _bits_of(context: Any, value: Any) -> Any:  # numba asks for both
    """Return the bits of a float32 as an int32."""

    def build(_context: Any, builder: Any, _signature: Any, given: Any) -> Any:
        return builder.bitcast(given[0], ir.IntType(32))

    return numba.int32(numba.float32), build


def _widen(context: Any, half: Any) -> Any:  # numba asks for both
    """Return the float32 of a half's bits (int16) by the processor's own conversion."""

    def build(_context: Any, builder: Any, _signature: Any, given: Any) -> Any:
        return builder.fpext(builder.bitcast(given[0], ir.HalfType()), ir.FloatType())

    return numba.float32(numba.int16), build


def _narrow(context: Any, value: Any) -> Any:  # numba asks for both
    """Return the bits (int16) of the half nearest to a float32, by the processor's own rounding."""

    def build(_context: Any, builder: Any, _signature: Any, given: Any) -> Any:
        return builder.bitcast(builder.fptrunc(given[0], ir.HalfType()), ir.IntType(16))

    return numba.int16(numba.float32), build


def _converts() -> bool:
    """Return whether the processor that is compiled for turns halves into floats and back."""
    if platform.machine() in {"aarch64", "arm64"}:
        return True
    return bool(binding.get_host_cpu_features().get("f16c", False))


float_of: Any = _extending.intrinsic(_float_of)
bits_of: Any = _extending.intrinsic(_bits_of)
widen: Any = _extending.intrinsic(_widen)
narrow: Any = _extending.intrinsic(_narrow)


def _unpack_by_processor(half: Any) -> Any:
    """Return the float32 of a half's bits (int16), exactly; 0 where it is no number."""
    bits = np.int16(half)
    size = bits & np.int16(0x7FFF)
    return widen(bits if size < np.int16(0x7C00) else bits & np.int16(-0x8000))


def _unpack(half: Any) -> Any:
    """Return what `_unpack_by_processor` does, with integers."""
    wide = np.int32(half)
    size = wide & np.int32(0x7FFF)
    shifted = size << np.int32(13)
    normal = float_of(shifted + np.int32(112 << 23))
    small = float_of(shifted + np.int32(113 << 23)) - float_of(np.int32(113 << 23))
    value = small if size < np.int32(0x400) else normal
    value = np.float32(0) if size >= np.int32(0x7C00) else value
    return float_of(bits_of(value) | (wide & np.int32(-0x80000000)))


def _unpack_any(half: Any) -> Any:
    """Return the float32 of a half's bits (int16), exactly; infinity and NaN too."""
    wide = np.int32(half)
    size = wide & np.int32(0x7FFF)
    endless = np.int32(0x7F800000) | ((size & np.int32(0x3FF)) << np.int32(13))
    bits = endless if size >= np.int32(0x7C00) else bits_of(unpack(half))
    return float_of(bits | ((wide & np.int32(0x8000)) << np.int32(16)))


def _pack_by_processor(value: Any) -> Any:
    """Return the bits (int16) of the half nearest to a float32, ties to even, at most 65504.

    NaN becomes the largest.
    """
    bits = bits_of(value)
    size = min(np.int32(bits & np.int32(0x7FFFFFFF)), np.int32(0x477FE000))
    return narrow(float_of(np.int32(size | np.int32(bits & np.int32(-0x80000000)))))


def _pack(value: Any) -> Any:
    """Return what `_pack_by_processor` does, with integers."""
    bits = bits_of(value)
    size = bits & np.int32(0x7FFFFFFF)
    size = min(size, np.int32(0x477FE000))
    even = (size >> np.int32(13)) & np.int32(1)
    normal = (size - np.int32(112 << 23) + np.int32(0xFFF) + even) >> np.int32(13)
    # Adding 0.5 leaves what a half below 2**-14 holds in the last bits, rounded as it should be.
    small = bits_of(float_of(size) + np.float32(0.5)) - np.int32(126 << 23)
    half = small if size < np.int32(113 << 23) else normal
    return np.int16(half | ((bits >> np.int32(16)) & np.int32(0x8000)))


unpack_by_integers: Any = _extending.register_jitable(_unpack)
pack_by_integers: Any = _extending.register_jitable(_pack)
unpack, pack = unpack_by_integers, pack_by_integers
if _converts():
    unpack = _extending.register_jitable(_unpack_by_processor)
    pack = _extending.register_jitable(_pack_by_processor)
unpack_any: Any = _extending.register_jitable(_unpack_any)
