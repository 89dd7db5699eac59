"""What each tile says of its own displacement, its gain and noise let go."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.registration.bands import Band
from glimsum_workers.engine.registration.taps import read_between
from glimsum_workers.engine.registration.tile_sums import TileSums

Numbers = NDArray[np.float64]

LEAST_SIGNIFICANCE = 12.0
_ALIKE = 3.0
"""Pixels of the band that vary together, so that so many fewer count (white noise: 1 / 0.33)."""


@dataclass(frozen=True)
class TileFit:
    """The tiles whose two pictures have something to do with each other.

    Attributes
    ----------
    kept : int array, (n,)
        Which tiles of the sums these are.
    score : float64 array, (2, n)
        Slope of the log likelihood by dx, dy, per pixel of the level.
    information : float64 array, (3, n)
        Its expected curvature, per pixel squared, by dx and dx, dx and dy, dy and dy: the inverse
        is the tile's own covariance.
    """

    kept: NDArray[np.intp]
    score: Numbers
    information: Numbers


def fit_tiles(sums: TileSums, displacement: Numbers, band: Band) -> TileFit:
    """Judge each tile at a displacement.

    The moving tile is taken as `a` times the reference tile, shifted, plus noise; `a` (of any
    sign) and the noise are the tile's own and are solved for. A tile that a straight line explains
    well speaks loudly, one that has nothing to do with the reference is dropped.

    Parameters
    ----------
    sums : TileSums
    displacement : float64 array, (n, 2)
        dx, dy of each tile, pixels of the level; limited to a pixel about the tile's offset.
    band : Band
        Of the level.

    Returns
    -------
    TileFit
        Information is reduced by the chance correlation of unrelated tiles (``a**2`` less its own
        variance) and tiles with F below 12 are left out.
    """
    from glimsum_workers.engine.compiled.tile_judging import judge_tiles  # noqa: PLC0415  # costs 0.5 s

    fraction = np.clip(displacement - sums.offsets, -1.0, 1.0)
    taps = [*read_between(fraction[:, 0]), *read_between(fraction[:, 1])]
    count = len(sums.table)
    kept = np.empty(count, dtype=np.intp)
    score, information = np.empty((2, count)), np.empty((3, count))
    told = judge_tiles(
        sums.table, fraction, *(each.T for each in taps),
        band.noise, _ALIKE, LEAST_SIGNIFICANCE, kept, score, information,
    )  # fmt: skip
    parts = (np.ascontiguousarray(each[:, :told]) for each in (score, information))
    return TileFit(kept[:told], *parts)
