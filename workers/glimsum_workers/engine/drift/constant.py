"""The one constant that puts a pass on the reference, the pass being tracked in its own light."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.drift.neighbours import borrow_series
from glimsum_workers.engine.drift.series import Series, as_motion, as_row, as_series
from glimsum_workers.engine.drift.track import Source, Track
from glimsum_workers.engine.motion import STILL, Affine, Motion, Registration
from glimsum_workers.engine.robust import biweight, weighted_median

Numbers = NDArray[np.float64]


@dataclass(frozen=True)
class Constant:
    """From the reference to the best frame of a pass.

    Attributes
    ----------
    motion : Motion or Affine
    sigma : float64 array, (6,)
        Standard errors of its row (see `drift_series.as_row`), pixels.
    source : Source
    """

    motion: Motion | Affine
    sigma: Numbers
    source: Source


def find_constant(
    series: Series, cross: Mapping[int, Registration], size: tuple[int, int], *, affine: bool
) -> Constant | None:
    """Find where the best frame of a pass lies, by the biweight mean of cross less own.

    Parameters
    ----------
    series : Series
        The pass against its own best frame.
    cross : mapping of int to Registration
        The pass against the hold frame of the reference.
    size : tuple of int
        (height, width) of the picture, pixels.
    affine : bool
        Keep more than a similarity.

    Returns
    -------
    Constant or None
        Over the frames that are trusted both ways; None where there is no such frame. The sigma is
        that of one frame, since errors of other light are the same on all, and more where the
        frames disagree.
    """
    rows, sigmas = [], []
    measured = as_series(series.frames, cross, size)
    for place in np.flatnonzero(series.known & measured.known):
        within = as_motion(series.values[place], size, affine=affine)
        onto = as_motion(measured.values[place], size, affine=affine)
        rows.append(as_row(chain_motions(within.inverse(), onto), size))
        sigmas.append(np.hypot(measured.sigma[place], series.sigma[place]))
    if not rows:
        return None
    means = [
        _mean(np.array([row[column] for row in rows]), np.array([each[column] for each in sigmas]))
        for column in range(6)
    ]
    row, sigma = np.array(means).T
    return Constant(as_motion(row, size, affine=affine), sigma, "same light")


def _mean(values: Numbers, sigma: Numbers) -> tuple[float, float]:
    """Return the biweight mean, and the sigma of one frame (more, if the frames disagree)."""
    weight = sigma**-2
    mean = weighted_median(values, weight)
    for _ in range(10):
        kept = weight * biweight(values - mean, 2 * sigma)
        if kept.sum() <= 0:
            kept = weight
        mean = float((kept * values).sum() / kept.sum())
    chi2 = float((weight * (values - mean) ** 2).sum()) / max(len(values) - 1, 1)
    return mean, float(np.sqrt(max(chi2, 1.0) / weight.mean()))


def borrow_constant(
    series: Series, neighbours: Mapping[str, Track], size: tuple[int, int], *, affine: bool
) -> Constant:
    """Put the best frame of a pass where other passes are.

    Parameters
    ----------
    series : Series
        The pass against its own best frame.
    neighbours : mapping of str to Track
        Other passes.
    size : tuple of int
        (height, width) of the picture, pixels.
    affine : bool
        Keep more than a similarity.

    Returns
    -------
    Constant
        With a sigma as wide as they differ; infinite where there are none.
    """
    theirs = borrow_series(series.frames, neighbours, size)
    both = np.flatnonzero(series.known & theirs.known)
    if len(both) == 0:
        return Constant(STILL, np.full(6, np.inf), "still")
    rows = [
        as_row(
            chain_motions(
                as_motion(series.values[place], size, affine=affine).inverse(),
                as_motion(theirs.values[place], size, affine=affine),
            ),
            size,
        )
        for place in both
    ]
    sigma = np.sqrt(np.mean(theirs.sigma[both] ** 2, axis=0))
    mean = np.mean(rows, axis=0)
    return Constant(as_motion(mean, size, affine=affine), sigma, "neighbours")


def chain_motions(last: Motion | Affine, first: Motion | Affine) -> Motion | Affine:
    """Return the motion that does `first` and then `last`."""
    if isinstance(last, Motion) and isinstance(first, Motion):
        return last.after(first)
    return last.as_affine().after(first.as_affine())
