"""The small picture of a frame from which its level is solved."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.codes import Image, Plane
from glimsum_workers.engine.metrics import as_plane, block_means

GRID_COLUMNS = 160
"""Cells across the picture when no cell size is given."""


@dataclass(frozen=True)
class LevelSample:
    """What the level needs of one frame.

    Attributes
    ----------
    light : Plane, (rows, columns)
        Mean over R, G, B and a square cell, scene-linear, after exposure. Linear in the
        picture: a sample of the ambient may be subtracted later.
    valid : bool array, (rows, columns)
        False where more than 1 % of a cell is clipped; such a cell can't follow its lamp.
    cell_px : int
        Side of a cell in pixels.
    """

    light: Plane
    valid: NDArray[np.bool_]
    cell_px: int


def level_sample(
    rgb: Image, *, clipped: NDArray[np.bool_] | None = None, cell_px: int | None = None
) -> LevelSample:
    """Return the small picture of a frame from which its level is solved.

    Parameters
    ----------
    rgb : Image
        Scene-linear, dark subtracted, hot pixels mended, times its exposure factor. Before
        or after the ambient is subtracted.
    clipped : bool array, (height, width), optional
        From `hot_pixels.clip_mask`.
    cell_px : int, optional
        Side of a cell in pixels; default that of `cell_of`. The same for every frame of a pass
        and for its ambient.

    Returns
    -------
    LevelSample
        About 160 x 90 cells for a 16:9 picture: 58 kB.

    Raises
    ------
    LightError
        If the picture is smaller than a cell.
    """
    size = cell_px if cell_px is not None else cell_of(rgb.shape[1])
    return LevelSample(block_means(as_plane(rgb), size), unclipped_cells(rgb, clipped, size), size)


def cell_of(width: int) -> int:
    """Return the side of a cell, pixels, for a picture so wide: 1/160 of it, at least 2."""
    return max(2, width // GRID_COLUMNS)


def unclipped_cells(
    rgb: Image, clipped: NDArray[np.bool_] | None, cell_px: int
) -> NDArray[np.bool_]:
    """Return the cells of which at most 1 % is clipped, (rows, columns)."""
    if clipped is None:
        rows, columns = (side // cell_px for side in rgb.shape[:2])
        return np.ones((rows, columns), dtype=np.bool_)
    return np.asarray(block_means(clipped.astype(np.float32), cell_px) <= 0.01, dtype=np.bool_)
