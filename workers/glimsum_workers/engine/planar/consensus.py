"""One patch made of many frames: what crosses in front, or is finer than a pixel, averages out."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.planar.homography import Matrix, Points, carry
from glimsum_workers.engine.planar.patch import Patch, lay_patch
from glimsum_workers.engine.planar.reading import Cutout, read_at
from glimsum_workers.engine.planar.template import MARGIN
from glimsum_workers.engine.robust import biweight

MOST_FRAMES = 32
_LEAST_SPREAD = 1.5
"""In units of the noise of a pixel: below it frames are taken to agree."""
_TURNS = 4


def agree_on_patch(
    cutouts: Mapping[int, Cutout], matrices: Mapping[int, Matrix], outline: Points
) -> Patch:
    """Make the patch that all frames agree on.

    Parameters
    ----------
    cutouts : mapping of frame to Cutout
        What each frame shows about the patch, all of one level.
    matrices : mapping of frame to Matrix
        From the anchor frame to each, good to a fraction of a pixel; the same frames or fewer.
    outline : Points, (m, 2)
        On the anchor frame, pixels of the full picture.

    Returns
    -------
    Patch
        On the anchor frame. Each value is the biweight mean over at most 32 frames spread over
        the shot, each frame divided by its own gain, starting from the median: what stands before
        the patch on less than half of them is not in it.
    """
    frames = sorted(matrices)
    if len(frames) > MOST_FRAMES:
        picked = np.linspace(0, len(frames) - 1, MOST_FRAMES).round().astype(int)
        frames = [frames[index] for index in picked]
    factor = cutouts[frames[0]].factor
    grid, left, top, shape = _grid_about(outline, factor)
    reads = [read_at(cutouts[frame], carry(matrices[frame], grid)) for frame in frames]
    values = np.stack([value for value, _ in reads])
    usable = np.stack([each for _, each in reads])
    mean = _agreed(values, usable)
    valid = usable.sum(axis=0) * 2 >= len(frames)
    made = Cutout(
        mean.reshape(shape), None if valid.all() else valid.reshape(shape), left, top, factor
    )
    return lay_patch(made, outline)


def _grid_about(outline: Points, factor: int) -> tuple[Points, int, int, tuple[int, int]]:
    first = np.floor(outline.min(axis=0) / factor - 0.5).astype(int) - MARGIN
    last = np.ceil(outline.max(axis=0) / factor - 0.5).astype(int) + MARGIN + 1
    x = (np.arange(first[0], last[0]) + 0.5) * factor
    y = (np.arange(first[1], last[1]) + 0.5) * factor
    across, down = np.meshgrid(x, y)
    grid = np.stack([across.ravel(), down.ravel()], axis=1)
    return grid, int(first[0]), int(first[1]), (len(y), len(x))


def _agreed(values: NDArray[np.float32], usable: NDArray[np.bool_]) -> NDArray[np.float32]:
    """Return the robust mean over frames (rows), gains of the frames let go."""
    shown = np.where(usable, values, np.nan)
    known = usable.any(axis=0)
    mean = np.zeros(values.shape[1])
    mean[known] = np.nanmedian(shown[:, known], axis=0)
    for _ in range(_TURNS):
        strong = usable & (np.abs(mean) > max(3.0, float(np.quantile(np.abs(mean), 0.5))))
        gains = [
            _median_ratio(each[mask], mean[mask]) for each, mask in zip(values, strong, strict=True)
        ]
        even = values / np.asarray(gains, dtype=np.float32)[:, None]
        left = even - mean
        spread = np.zeros_like(mean)
        away = np.where(usable, np.abs(left), np.nan)
        spread[known] = 1.4826 * np.nanmedian(away[:, known], axis=0)
        weights = biweight(left, np.maximum(spread, _LEAST_SPREAD)) * usable
        mean = (weights * even).sum(axis=0) / np.maximum(weights.sum(axis=0), 1e-6)
    return mean.astype(np.float32)


def _median_ratio(here: NDArray[np.float32], there: NDArray[np.float64]) -> float:
    if len(here) < 8:
        return 1.0
    return float(np.clip(np.median(here / there), 0.1, 10))
