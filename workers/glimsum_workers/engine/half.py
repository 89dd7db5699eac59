"""Masters hold half floats: rounded to nearest even, never infinite."""

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.laying import is_worth_it

HALF_MAX = 65504.0
"""Largest finite binary16 value (IEEE 754-2019, table 3.5): 2**15 * (2 - 2**-10)."""

_STRIP_SAMPLES = 1 << 16


def to_half(picture: NDArray[np.float32]) -> tuple[NDArray[np.float16], int]:
    """Return `picture` in half floats, and how many samples had to be clamped.

    Parameters
    ----------
    picture : Image or Plane
        Scene-linear or coverage; finite.

    Returns
    -------
    halves : float16 array, same shape
        Each channel of a large picture lies in one piece.
        Rounded to nearest, ties to even; relative error at most 2**-11 from 2**-14 up,
        absolute error at most 2**-25 below.
    clamped : int
        Samples beyond +-65504, set to +-65504.

    Raises
    ------
    LightError
        If a sample is NaN or infinite; replace those where the picture is decoded.

    References
    ----------
    IEEE 754-2019, binary16, roundTiesToEven.
    """
    if picture.ndim == 3 and is_worth_it((picture.shape[0], picture.shape[1])):
        return _pack_quickly(picture)
    halves = np.empty(picture.shape, dtype=np.float16)
    source = np.ascontiguousarray(picture).reshape(-1)
    target = halves.reshape(-1)
    clamped = 0
    # A strip stays in the cache between being looked at and being rounded.
    for start in range(0, source.size, _STRIP_SAMPLES):
        strip = source[start : start + _STRIP_SAMPLES]
        low, high = float(strip.min()), float(strip.max())
        if not (np.isfinite(low) and np.isfinite(high)):
            raise _unfinite(int(np.count_nonzero(~np.isfinite(source))), source.size)
        if low < -HALF_MAX or high > HALF_MAX:
            clamped += int(np.count_nonzero(np.abs(strip) > HALF_MAX))
            strip = np.clip(strip, -HALF_MAX, HALF_MAX)
        target[start : start + strip.size] = strip
    return halves, clamped


def _pack_quickly(picture: NDArray[np.float32]) -> tuple[NDArray[np.float16], int]:
    from glimsum_workers.engine.compiled.half_rows import pack_planes  # noqa: PLC0415  # costs 0.5 s

    height, width, channels = picture.shape
    planes, told = np.empty((channels, height, width), np.int16), np.zeros(2, np.int64)
    pack_planes(np.ascontiguousarray(picture), planes, told)
    clamped, unfinite = (int(each) for each in told)
    if unfinite:
        raise _unfinite(unfinite, picture.size)
    return np.moveaxis(planes.view(np.float16), 0, 2), clamped


def _unfinite(count: int, size: int) -> LightError:
    return LightError(
        "The picture holds samples that are not finite",
        seen=f"{count} of {size} samples",
        expected="none",
        remedy="Replace them where the picture is decoded, and count them.",
    )
