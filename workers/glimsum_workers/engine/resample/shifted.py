"""The resample of a pure shift: one set of taps for all rows, one for all columns."""

from math import floor

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.resample.edge_samples import cut_samples
from glimsum_workers.engine.resample.kernels import TAPS, interpolation_taps
from glimsum_workers.engine.resample.ring_limits import RingRule, limit_cells

_STRIP_ROWS = 32
_BEFORE, _AFTER = TAPS // 2 - 1, TAPS // 2


def shift_channels(
    channels: NDArray[np.float32],
    right: float,
    down: float,
    size: tuple[int, int],
    rule: RingRule | None,
) -> NDArray[np.float32]:
    """Return the samples that lie `right` and `down` of each sample's own place.

    Parameters
    ----------
    channels : float32 array, (height, width, channels)
        Finite.
    right, down : float
        Pixels: new sample (0, 0) is the source at row `down`, column `right`.
    size : tuple of int
        (height, width) of the result.
    rule : RingRule, optional
        Limits samples beside lamps, for three channels; None leaves all free.

    Returns
    -------
    float32 array, (*size, channels)
        A whole shift copies samples bit by bit. Edges repeat.
    """
    height, width = size
    column, row = floor(right), floor(down)
    across, along = (_taps(each - floor(each)) for each in (right, down))
    if across is None and along is None:
        return np.array(cut_samples(channels, row, row + height, column, column + width))
    result = np.empty((height, width, channels.shape[2]), np.float32)
    beside = np.empty((0, 0), np.bool_) if rule is None else _spread_columns(rule, column, width)
    for top in range(0, height, _STRIP_ROWS):
        strip = result[top : top + _STRIP_ROWS]
        first = row + top
        part = cut_samples(
            channels,
            first - _BEFORE,
            first + len(strip) + _AFTER,
            column - _BEFORE,
            column + width + _AFTER,
        )
        middle = _blend(part, along, 0, None)
        _blend(middle, across, 1, strip)
        if rule is not None:
            _limit(strip, part, beside[rule.block(np.arange(first, first + len(strip)), 0)])
    return result


def _taps(fraction: float) -> NDArray[np.float32] | None:
    if fraction == 0:
        return None
    return interpolation_taps(np.asarray(fraction, np.float64)).astype(np.float32)


def _blend(
    samples: NDArray[np.float32],
    taps: NDArray[np.float32] | None,
    axis: int,
    result: NDArray[np.float32] | None,
) -> NDArray[np.float32]:
    """Return samples blended along `axis`, shorter by seven; without taps the ones between."""
    count = samples.shape[axis] - TAPS + 1
    if result is None:
        shape = (
            (count, *samples.shape[1:]) if axis == 0 else (len(samples), count, samples.shape[2])
        )
        result = np.empty(shape, np.float32)

    def part(step: int) -> NDArray[np.float32]:
        return samples[step : step + count] if axis == 0 else samples[:, step : step + count]

    if taps is None:
        result[...] = part(_BEFORE)
        return result
    room = np.empty_like(result)
    np.multiply(part(0), taps[0], out=result)
    for step in range(1, TAPS):
        np.multiply(part(step), taps[step], out=room)
        np.add(result, room, out=result)
    return result


def _spread_columns(rule: RingRule, column: int, width: int) -> NDArray[np.bool_]:
    """Return the rule's blocks, every row spread to the new samples of `width` pixels."""
    blocks = rule.block(np.arange(column, column + width), 1)
    return rule.lamps[:, np.repeat(blocks, 3)]


def _limit(
    strip: NDArray[np.float32], part: NDArray[np.float32], beside: NDArray[np.bool_]
) -> None:
    """Keep the samples beside lamps within their neighbours, in place."""
    if not beside.any():
        return
    rows, width = strip.shape[:2]
    low, high = limit_cells(part[_BEFORE : _BEFORE + rows + 1, _BEFORE : _BEFORE + width + 1], 2)
    np.maximum(strip, low, out=low)
    np.minimum(low, high, out=low)
    np.copyto(strip, low, where=beside.reshape(strip.shape))
