"""Where a sharp kernel would ring in an element: at lamps and at the edges of what is cut out.

`resample.ring_limits` tells lamps from noise by the quiet blocks of a picture that was filmed
whole. An element may be black, or clear, but for its cut-out: nothing there is quiet and varies,
so the noise is read from second differences instead, and coverage is looked at with the light.
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.resample.edge_samples import cut_samples
from glimsum_workers.engine.resample.kernels import TAPS
from glimsum_workers.engine.resample.mapped import Places
from glimsum_workers.engine.resample.ring_limits import RingRule, limit_cells, window_extreme

PlacesOf = Callable[[slice, slice], Places]

_BLOCK_PX = 4
_STRIP_ROWS = 64
_CONTRAST = np.float32(2.0)
_NOISES = np.float32(17.0)
_MEDIAN_TO_SIGMA = np.float32(1 / (0.6745 * 1.5**0.5))
"""Median size of a second difference, in halves, to the deviation of normal noise."""


def find_edge_rule(channels: NDArray[np.float32], taps: int = TAPS) -> RingRule:
    """Return where new samples of an element are held within their neighbours.

    Parameters
    ----------
    channels : float32 array, (height, width, 3 or 4)
        Premultiplied, linear, finite; coverage last.
    taps : int
        Side of the kernel that will be used.

    Returns
    -------
    RingRule
        A block of 4 x 4 samples is marked where, in any channel, the brightest sample under a
        kernel that begins in it exceeds twice the darkest by more than 17 deviations of the
        channel's noise. Of an element that is even in more than half its area the noise counts
        as 0.
    """
    limits = _NOISES * _noise(channels)
    reach = -(-taps // (2 * _BLOCK_PX))
    spread = 2 * reach + 1
    extremes = []
    for pick in (np.maximum, np.minimum):
        blocks = _blocks(pick, channels)
        blocks = np.pad(blocks, [(reach, reach), (reach, reach), (0, 0)], mode="edge")
        extremes.append(window_extreme(pick, window_extreme(pick, blocks, spread, 0), spread, 1))
    high, low = extremes
    marked: NDArray[np.bool_] = np.any(high > _CONTRAST * np.maximum(low, 0) + limits, axis=2)
    return RingRule(float(limits.max()), marked, 2 * -(-taps // TAPS))


def hold_at_edges(
    made: NDArray[np.float32], channels: NDArray[np.float32], rule: RingRule, places: PlacesOf
) -> None:
    """Keep new samples at edges within the samples next to them, in place.

    Parameters
    ----------
    made : float32 array, (rows, columns, channels)
        New samples; light and coverage are held alike, so that neither is left without the other.
    channels : float32 array, (height, width, channels)
        What they were made of.
    rule : RingRule
        From `find_edge_rule`.
    places : callable
        Column and row in `channels` of the new samples of some rows and columns.
    """
    if not rule.lamps.any():
        return
    before, after = rule.near // 2 - 1, rule.near // 2 + 1
    for first in range(0, len(made), _STRIP_ROWS):
        strip = made[first : first + _STRIP_ROWS]
        across, along = places(slice(first, first + len(strip)), slice(0, made.shape[1]))
        height, width = channels.shape[:2]
        across = np.broadcast_to(np.clip(across, -rule.near, width + rule.near), strip.shape[:2])
        along = np.broadcast_to(np.clip(along, -rule.near, height + rule.near), strip.shape[:2])
        row, column = (np.floor(each).astype(np.intp) for each in (along, across))
        beside = rule.lamps[rule.block(row, 0), rule.block(column, 1)]
        if not beside.any():
            continue
        row, column = row[beside], column[beside]
        top, left = int(row.min()), int(column.min())
        part = cut_samples(
            channels,
            top - before,
            int(row.max()) + after,
            left - before,
            int(column.max()) + after,
        )
        low, high = limit_cells(part, rule.near)
        place = row - top, column - left
        strip[beside] = np.clip(strip[beside], low[place], high[place])


def _noise(channels: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the deviation of the noise of each channel."""
    if channels.shape[1] < 3:
        return np.zeros(channels.shape[2], np.float32)
    step = 2 if channels.shape[0] >= 256 else 1
    part = channels[::step]
    bent = np.abs(part[:, 1:-1] - (part[:, :-2] + part[:, 2:]) / 2)
    return np.asarray(np.median(bent, axis=(0, 1)) * _MEDIAN_TO_SIGMA, np.float32)


def _blocks(pick: np.ufunc, channels: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the extreme of every block, edges repeated to fill the last ones."""
    height, width, count = channels.shape
    padding = [(0, -height % _BLOCK_PX), (0, -width % _BLOCK_PX), (0, 0)]
    whole = np.pad(channels, padding, mode="edge")
    blocks = whole.reshape(whole.shape[0] // _BLOCK_PX, _BLOCK_PX, -1, _BLOCK_PX, count)
    return np.asarray(pick.reduce(pick.reduce(blocks, axis=3), axis=1), np.float32)
