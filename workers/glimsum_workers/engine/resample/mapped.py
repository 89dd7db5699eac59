"""The resample of any map: every new sample has its own place in the source."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.resample.edge_samples import cut_samples
from glimsum_workers.engine.resample.kernels import TapTable
from glimsum_workers.engine.resample.ring_limits import RingRule, limit_cells

Places = tuple[NDArray[np.float64], NDArray[np.float64]]
"""Column and row in the source of each new sample; 0 is the centre of the first sample."""

_TILE_ROWS, _TILE_COLUMNS = 64, 512


@dataclass(frozen=True)
class SourceMap:
    """Where each new sample lies in the source, and the kernels to take it with.

    Attributes
    ----------
    places : callable
        Places of the new samples of some rows and columns (two slices).
    across, along : TapTable
        Kernels along a row and along a column.
    lean : float or None
        How many columns a step of one source row moves sideways where the new column stays
        the same; the picture is then taken in two passes, rows first. None: in one.
    """

    places: Callable[[slice, slice], Places]
    across: TapTable
    along: TapTable
    lean: float | None = None


def map_channels(
    channels: NDArray[np.float32],
    source: SourceMap,
    size: tuple[int, int],
    rule: RingRule | None,
    *,
    empty_outside: bool = False,
) -> tuple[NDArray[np.float32], int]:
    """Return the samples at the places of a map.

    Parameters
    ----------
    channels : float32 array, (height, width, channels)
        Finite.
    source : SourceMap
    size : tuple of int
        (height, width) of the result.
    rule : RingRule, optional
        Limits samples beside lamps in the first three channels; None leaves all free.
    empty_outside : bool
        Sets samples that lie outside the source to 0; else edges repeat.

    Returns
    -------
    result : float32 array, (*size, channels)
    outside : int
        New samples whose place lies more than half a pixel beyond the outermost samples.

    Notes
    -----
    One pass weighs taps x taps samples. Two passes weigh 2 * taps: along source rows at the
    new columns, leaning as the map does, then along those columns; every place is exact, and so
    are constants and ramps (E. Catmull, A. R. Smith, SIGGRAPH 1980, doi 10.1145/800250.807505).
    The kernel then leans by `lean` at most, which is why it has to be small.
    """
    height, width, count = channels.shape
    result = np.empty((*size, count), np.float32)
    outside = 0
    reach = source.along.taps, source.across.taps
    for rows, columns in _tiles(size):
        across, along = source.places(rows, columns)
        beyond = (np.abs(across - (width - 1) / 2) > width / 2) | (
            np.abs(along - (height - 1) / 2) > height / 2
        )
        outside += int(np.count_nonzero(beyond))
        # Beyond a kernel's reach every place shows the edge: no need to go further.
        across = np.clip(across, -reach[1], width - 1 + reach[1])
        along = np.clip(along, -reach[0], height - 1 + reach[0])
        tile = _take(channels, source, across, along)
        if rule is not None:
            _limit(tile, channels, rule, across, along)
        if empty_outside:
            tile[:, beyond] = 0
        result[rows, columns] = np.moveaxis(tile, 0, 2)
    return result, outside


def _tiles(size: tuple[int, int]) -> Iterator[tuple[slice, slice]]:
    for top in range(0, size[0], _TILE_ROWS):
        for left in range(0, size[1], _TILE_COLUMNS):
            yield (
                slice(top, min(top + _TILE_ROWS, size[0])),
                slice(left, min(left + _TILE_COLUMNS, size[1])),
            )


def _take(
    channels: NDArray[np.float32],
    source: SourceMap,
    across: NDArray[np.float64],
    along: NDArray[np.float64],
) -> NDArray[np.float32]:
    """Return one tile: (channels, rows, columns)."""
    row, part_down = _split(along)
    top = int(row.min()) - source.along.taps // 2 + 1
    bottom = int(row.max()) + source.along.taps // 2 + 1
    lines = np.arange(top, bottom)[:, None]
    if source.lean is not None:
        across = across[:1] + source.lean * (lines - along[:1])
    column, part_right = _split(across)
    left = int(column.min()) - source.across.taps // 2 + 1
    right = int(column.max()) + source.across.taps // 2 + 1
    part = cut_samples(channels, top, bottom, left, right)
    planes = np.ascontiguousarray(np.moveaxis(part, 2, 0)).reshape(len(channels.T), -1)
    column -= left + source.across.taps // 2 - 1
    row -= top + source.along.taps // 2 - 1
    wide = right - left
    if source.lean is None:
        weights = list(source.across.weigh(part_right)), list(source.along.weigh(part_down))
        return _weigh_square(planes, row * wide + column, *weights, wide)
    middle = _weigh_line(planes, (lines - top) * wide + column, source.across.weigh(part_right), 1)
    count = middle.shape[2]
    start = row * count + np.arange(count)
    return _weigh_line(middle.reshape(len(middle), -1), start, source.along.weigh(part_down), count)


def _split(place: NDArray[np.float64]) -> tuple[NDArray[np.intp], NDArray[np.float32]]:
    whole = np.floor(place)
    return whole.astype(np.intp), (place - whole).astype(np.float32)


def _weigh_line(
    planes: NDArray[np.float32],
    start: NDArray[np.intp],
    weights: Iterable[NDArray[np.float32]],
    step: int,
) -> NDArray[np.float32]:
    """Return the weighted sums of samples `step` apart, from `start` on, in every plane."""
    total = np.zeros((len(planes), *start.shape), np.float32)
    room = np.empty(start.shape, np.float32)
    for tap, weight in enumerate(weights):
        for plane in range(len(planes)):
            np.take(planes[plane, tap * step :], start, out=room, mode="clip")
            np.multiply(room, weight, out=room)
            total[plane] += room
    return total


def _weigh_square(
    planes: NDArray[np.float32],
    start: NDArray[np.intp],
    across: list[NDArray[np.float32]],
    along: list[NDArray[np.float32]],
    wide: int,
) -> NDArray[np.float32]:
    """Return the weighted sums over squares of samples, from `start` on, in every plane."""
    total = np.zeros((len(planes), *start.shape), np.float32)
    for line, weight in enumerate(along):
        sums = _weigh_line(planes[:, line * wide :], start, across, 1)
        np.multiply(sums, weight, out=sums)
        np.add(total, sums, out=total)
    return total


def _limit(
    tile: NDArray[np.float32],
    channels: NDArray[np.float32],
    rule: RingRule,
    across: NDArray[np.float64],
    along: NDArray[np.float64],
) -> None:
    """Keep the samples beside lamps within their neighbours, in place."""
    row, column = (np.floor(each).astype(np.intp) for each in (along, across))
    beside = np.flatnonzero(rule.lamps[rule.block(row, 0), rule.block(column, 1)])
    if not beside.size:
        return
    row, column = row.ravel()[beside], column.ravel()[beside]
    top, left = int(row.min()), int(column.min())
    before, after = rule.near // 2 - 1, rule.near // 2 + 1
    part = cut_samples(
        channels[..., :3],
        top - before,
        int(row.max()) + after,
        left - before,
        int(column.max()) + after,
    )
    cells = limit_cells(part, rule.near)
    place = (row - top) * cells[0].shape[1] + column - left
    for channel in range(3):
        low, high = (np.take(each[..., channel], place) for each in cells)
        plane = tile[channel].reshape(-1)
        plane[beside] = np.minimum(np.maximum(plane[beside], low), high)
