"""The resample of a pure shift: one set of taps for all rows, one for all columns."""

from collections.abc import Iterator
from math import floor

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.edge_samples import cut_samples
from glimsum_workers.engine.kernels import TAPS, interpolation_taps
from glimsum_workers.engine.ring_limits import BLOCK_PX, RingRule, limit_cells

_STRIP_ROWS, _RUN_COLUMNS = 32, 256
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
        Limits samples beside lamps; None leaves all free.

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
            _limit(strip, part, rule, first, column)
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


def _limit(
    strip: NDArray[np.float32], part: NDArray[np.float32], rule: RingRule, row: int, column: int
) -> None:
    """Keep the samples beside lamps near their neighbours, in place."""
    blocks = rule.blocks
    upper = min(max(row // BLOCK_PX, 0), len(blocks) - 1)
    lower = min(max((row + len(strip) - 1) // BLOCK_PX, 0), len(blocks) - 1)
    rows: NDArray[np.bool_] = np.any(blocks[upper : lower + 1], axis=0)
    for left, right in _runs(rows, column, strip.shape[1]):
        limits = limit_cells(rule, part[:, left : right + TAPS - 1])
        np.clip(strip[:, left:right], *limits, out=strip[:, left:right])


def _runs(blocks: NDArray[np.bool_], column: int, width: int) -> Iterator[tuple[int, int]]:
    """Yield the ranges of new columns whose samples lie in the blocks; `column` is the first's."""
    cells = np.clip((np.arange(width) + column) // BLOCK_PX, 0, len(blocks) - 1)
    edges = np.flatnonzero(np.diff(blocks[cells].astype(np.int8), prepend=0, append=0))
    for first, last in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        for left in range(first, last, _RUN_COLUMNS):
            yield left, min(left + _RUN_COLUMNS, last)
