"""A patch of one picture laid out to be found in others: values, slopes, and how it may move."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.planar.homography import Matrix, Points, carry, step_basis, unit_frame
from glimsum_workers.engine.planar.outline import inside_outline
from glimsum_workers.engine.planar.reading import Cutout, slopes_of
from glimsum_workers.engine.registration.taps import REACH

MARGIN_PX = 3.0
"""How far about the outline a patch reaches: the edge of a board is its best detail."""
MOST_POINTS = 16_000
_BLOCK, _CELL = 16, 8


@dataclass(frozen=True)
class Patch:
    """What is known of a patch at one size of the picture.

    Attributes
    ----------
    points : Points, (n, 2)
        Places on the patch's own frame, pixels of the full picture.
    values : float32 array, (n,)
        Detail there, in units of the noise of a pixel.
    steepness : float32 array, (n,)
        Length of the slope, a pixel of the level.
    leads : float64 array, (8, n)
        How the value changes with each number of `homography.step_matrix`, these in pixels of
        the full picture at the patch's longer half side.
    blocks, cells : intp array, (n,)
        Neighbourhood of each point, 16 and 8 pixels of the level wide, counted from 0.
    to_unit : Matrix
        From pixels to the unit frame of the outline.
    outline : Points, (m, 2)
    """

    points: Points
    values: NDArray[np.float32]
    steepness: NDArray[np.float32]
    leads: NDArray[np.float64]
    blocks: NDArray[np.intp]
    cells: NDArray[np.intp]
    to_unit: Matrix
    outline: Points

    @property
    def reach_px(self) -> float:
        """Return the longer half side, pixels of the full picture."""
        return float(1 / self.to_unit[0, 0])

    @property
    def energy(self) -> float:
        """Return the mean square of the detail, in units of the noise variance of a pixel."""
        return float(np.mean(np.square(self.values))) if len(self.values) else 0.0


def lay_patch(cutout: Cutout, outline: Points, margin_px: float = MARGIN_PX) -> Patch:
    """Lay out a patch.

    Parameters
    ----------
    cutout : Cutout
        Of the frame the patch was marked on, with at least 3 pixels about it.
    outline : Points, (m, 2)
        Corners of the patch, pixels of the full picture.
    margin_px : float
        How far about the outline the patch reaches, pixels of the level.

    Returns
    -------
    Patch
        Every pixel of the level in it that can be used; of more than 16,000 every second, third
        and so on of a row and a column.
    """
    height, width = cutout.band.shape
    rows = np.arange(REACH, max(height - REACH, REACH))
    columns = np.arange(REACH, max(width - REACH, REACH))
    every = max(int(np.sqrt(len(rows) * len(columns) / MOST_POINTS)), 1)
    grid, row, column, inside = _inside(cutout, outline, margin_px, rows[::every], columns[::every])
    while np.count_nonzero(inside) > MOST_POINTS:
        every += 1
        grid, row, column, inside = _inside(
            cutout, outline, margin_px, rows[::every], columns[::every]
        )
    kept = np.flatnonzero(inside)
    band = np.asarray(cutout.band, dtype=np.float32)
    across, down = (slope[row[kept], column[kept]] for slope in slopes_of(band))
    points, to_unit = grid[kept], unit_frame(outline)
    basis = step_basis(carry(to_unit, points))
    return Patch(
        points=points,
        values=band[row[kept], column[kept]],
        steepness=np.hypot(across, down),
        leads=np.asarray((basis[:, 0].T * across + basis[:, 1].T * down) / cutout.factor),
        blocks=_neighbourhoods(points, _BLOCK * cutout.factor),
        cells=_neighbourhoods(points, _CELL * cutout.factor),
        to_unit=to_unit,
        outline=outline,
    )


def _inside(
    cutout: Cutout,
    outline: Points,
    margin_px: float,
    rows: NDArray[np.int_],
    columns: NDArray[np.int_],
) -> tuple[Points, NDArray[np.int_], NDArray[np.int_], NDArray[np.bool_]]:
    """Return the places of some rows and columns, these, and which of them are the patch's."""
    row, column = (each.ravel() for each in np.meshgrid(rows, columns, indexing="ij"))
    x = (column + cutout.left + 0.5) * cutout.factor
    y = (row + cutout.top + 0.5) * cutout.factor
    grid = np.asarray(np.stack([x, y], axis=1), dtype=np.float64)
    inside = inside_outline(grid, outline, margin_px * cutout.factor)
    if cutout.valid is not None:
        inside &= cutout.valid[row, column]
    return grid, row, column, inside


def _neighbourhoods(points: Points, width_px: float) -> NDArray[np.intp]:
    """Return the number of the square of a width that each point lies in, from 0."""
    square = np.floor(points / width_px).astype(np.int64)
    _, numbers = np.unique(square @ [1 << 24, 1], return_inverse=True)
    return np.asarray(numbers, dtype=np.intp)
