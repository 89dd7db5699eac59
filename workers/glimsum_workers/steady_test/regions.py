"""What is left after alignment, by region of the picture: tiles of many frames gathered."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.motion import Points

Tiles = NDArray[np.float32]
"""Rows of x, y, residual dx, dy and weight, as `engine.motion.Registration` holds them."""
Shift = Callable[[Points], Points]
"""By how much more a frame is displaced at places than it is brought back by, pixels."""

MOST_COLUMNS = 12
_LEAST_SIDE_PX = 48
_LEAST_TILES = 4.0
"""Tiles of full weight below which a region of a frame tells nothing."""
_MOST_SIGMA_PX = 0.3
"""A region of a frame that is known worse tells nothing: the limit of trust for whole frames."""
SURE_SIGMAS = 3.0


@dataclass(frozen=True)
class Grid:
    """Regions of a picture, about square.

    Attributes
    ----------
    size : tuple of int
        (height, width) of the picture, pixels.
    rows, columns : int
        Regions down and across.
    """

    size: tuple[int, int]
    rows: int
    columns: int

    def centre(self, row: int, column: int) -> tuple[float, float]:
        """Return x, y of the middle of a region, pixels."""
        height, width = self.size
        return (column + 0.5) * width / self.columns, (row + 0.5) * height / self.rows


@dataclass(frozen=True)
class Gathered:
    """Tiles of one frame, gathered by region; arrays run along regions, row by row.

    Attributes
    ----------
    place, left : float32 array, (regions, 2)
        Weighted means of x, y and of the residual dx, dy, pixels.
    error : float32 array, (regions,)
        Standard error of `left` an axis, pixels; infinite where too few tiles tell, or worse
        than 0.3.
    """

    place: NDArray[np.float32]
    left: NDArray[np.float32]
    error: NDArray[np.float32]


@dataclass(frozen=True)
class RegionLeft:
    """What is left in one region.

    Attributes
    ----------
    row, column : int
        From 0, top left first.
    x, y : float
        Middle of the region, pixels.
    dx, dy : float
        Mean displacement that is left, over the frames, pixels: where the pass shows the region
        beyond where it is brought back from.
    sigma_px : float
        Standard error of dx and of dy, pixels. It does not fall with the number of frames:
        the errors of another light are the same on each.
    p50_px, p95_px : float
        Length of what is left on half of the frames at most, and on 95 % of them.
    frames : int
        Frames that tell of the region.
    """

    row: int
    column: int
    x: float
    y: float
    dx: float
    dy: float
    sigma_px: float
    p50_px: float
    p95_px: float
    frames: int

    @property
    def length(self) -> float:
        """Return the length of the mean, pixels."""
        return float(np.hypot(self.dx, self.dy))

    @property
    def is_sure(self) -> bool:
        """Return whether the mean is three times as long as its sigma."""
        return self.length > SURE_SIGMAS * self.sigma_px


@dataclass(frozen=True)
class Left:
    """What is left of one pass after alignment.

    Attributes
    ----------
    grid : Grid
    regions : tuple of RegionLeft
        Those that tell something, row by row.
    p50_px, p95_px : float
        Length of what is left in half of all regions and frames at most, and in 95 %. It holds
        the scatter of the regions, so hardly falls below `sigma_px`.
    sigma_px : float
        Median of the regions' standard errors, pixels.
    frames : int
        Frames that were looked at.
    """

    grid: Grid
    regions: tuple[RegionLeft, ...]
    p50_px: float
    p95_px: float
    sigma_px: float
    frames: int


def lay_grid(size: tuple[int, int]) -> Grid:
    """Return the regions of a picture: 12 across at most, none narrower than 48 pixels."""
    height, width = size
    columns = int(np.clip(width // _LEAST_SIDE_PX, 1, MOST_COLUMNS))
    side = width / columns
    return Grid(size, max(1, round(height / side)), columns)


def gather_tiles(tiles: Tiles, grid: Grid) -> Gathered:
    """Gather the tiles of one registration by region.

    Parameters
    ----------
    tiles : Tiles, (n, 5)
        May hold no row.
    grid : Grid

    Returns
    -------
    Gathered
        The error is the weighted scatter of the tiles over the root of how many of full weight
        there are; tiles are taken as independent.
    """
    count = grid.rows * grid.columns
    rows = np.asarray(tiles, dtype=np.float64)
    height, width = grid.size
    column = np.clip(rows[:, 0] * grid.columns / width, 0, grid.columns - 1).astype(np.intp)
    row = np.clip(rows[:, 1] * grid.rows / height, 0, grid.rows - 1).astype(np.intp)
    region, weight = row * grid.columns + column, rows[:, 4]
    total = _sum(region, weight, count)
    safe = np.maximum(total, 1e-12)
    means = np.stack([_sum(region, weight * rows[:, i], count) / safe for i in range(4)], axis=1)
    off = ((rows[:, 2:4] - means[region, 2:4]) ** 2).sum(axis=1)
    told = total**2 / np.maximum(_sum(region, weight**2, count), 1e-12)
    scatter = _sum(region, weight * off, count) / safe / 2
    error = np.sqrt(scatter / np.maximum(told - 1, 1e-12))
    error[(told < _LEAST_TILES) | (error > _MOST_SIGMA_PX)] = np.inf
    as_kept = means.astype(np.float32)
    return Gathered(as_kept[:, 0:2], as_kept[:, 2:4], error.astype(np.float32))


def sum_up(
    grid: Grid, gathered: Mapping[int, Gathered], shifts: Mapping[int, Shift]
) -> Left | None:
    """Return what is left over all frames.

    Parameters
    ----------
    grid : Grid
        What the tiles were gathered by.
    gathered : mapping of int to Gathered
        By frame.
    shifts : mapping of int to callable
        By frame: what the frame's registration found beyond what is taken out of it, at places
        (n, 2); residuals are against the former, and what is left is against the latter.

    Returns
    -------
    Left or None
        None where no frame tells of any region.
    """
    frames = [frame for frame in gathered if frame in shifts]
    if not frames:
        return None
    left = np.stack(
        [
            gathered[frame].left + shifts[frame](gathered[frame].place.astype(np.float64))
            for frame in frames
        ]
    )
    error = np.stack([gathered[frame].error for frame in frames]).astype(np.float64)
    told = np.isfinite(error)
    if not told.any():
        return None
    lengths = np.hypot(left[..., 0], left[..., 1])
    regions = tuple(
        _region(grid, index, left[told[:, index], index], error[told[:, index], index])
        for index in range(grid.rows * grid.columns)
        if told[:, index].any()
    )
    half, most = np.percentile(lengths[told], [50, 95])
    return Left(
        grid=grid,
        regions=regions,
        p50_px=float(half),
        p95_px=float(most),
        sigma_px=float(np.median([each.sigma_px for each in regions])),
        frames=len(frames),
    )


def _region(
    grid: Grid, index: int, left: NDArray[np.float64], error: NDArray[np.float64]
) -> RegionLeft:
    row, column = divmod(index, grid.columns)
    x, y = grid.centre(row, column)
    dx, dy = left.mean(axis=0)
    half, most = np.percentile(np.hypot(left[:, 0], left[:, 1]), [50, 95])
    return RegionLeft(
        row=row,
        column=column,
        x=x,
        y=y,
        dx=float(dx),
        dy=float(dy),
        sigma_px=float(np.sqrt(np.mean(error**2))),
        p50_px=float(half),
        p95_px=float(most),
        frames=len(left),
    )


def _sum(region: NDArray[np.intp], values: NDArray[np.float64], count: int) -> NDArray[np.float64]:
    return np.asarray(np.bincount(region, weights=values, minlength=count), dtype=np.float64)
