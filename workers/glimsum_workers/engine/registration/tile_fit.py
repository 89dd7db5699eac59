"""What each tile says of its own displacement, its gain and noise let go."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.registration.bands import Band
from glimsum_workers.engine.registration.symmetric import Symmetric
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
    score : float64 array, (n, 2)
        Slope of the log likelihood by dx, dy, per pixel of the level.
    information : Symmetric, n
        Its expected curvature, per pixel squared: the inverse is the tile's own covariance.
    """

    kept: NDArray[np.intp]
    score: Numbers
    information: Symmetric


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
    fraction = np.clip(displacement - sums.offsets, -1.0, 1.0)
    across, across_slope = read_between(fraction[:, 0])
    down, down_slope = read_between(fraction[:, 1])
    rows = np.einsum("nij,ni->nj", sums.cross, down)
    both = np.einsum("nj,nj->n", rows, across)
    by_x = np.einsum("nj,nj->n", rows, across_slope)
    columns = np.einsum("nij,nj->ni", sums.cross, across)
    by_y = np.einsum("ni,ni->n", columns, down_slope)
    square, slope_x, slope_y, xx, xy, yy = sums.own.T
    square = np.maximum(square, 1e-9)
    gain = both / square
    energy = np.einsum("nij,ni,nj->n", sums.energy, _near(fraction[:, 1]), _near(fraction[:, 0]))
    count = sums.count
    left = np.maximum((energy - gain * both) / (count - 3), 0.5 * band.noise * (1 + gain**2))
    certain = gain**2 * square / left
    honest = np.maximum(gain**2 - _ALIKE * left / square, 0.0)
    kept = np.flatnonzero(
        (certain > LEAST_SIGNIFICANCE) & (honest > 0) & (square > band.noise * count)
    )
    weight = 1.0 / (_ALIKE * left)
    score = np.stack([by_x - gain * slope_x, by_y - gain * slope_y], axis=-1)
    score *= (gain * weight)[:, None]
    score *= (honest / np.maximum(gain**2, 1e-30))[:, None]
    information = Symmetric(
        (xx - slope_x**2 / square)[kept],
        (xy - slope_x * slope_y / square)[kept],
        (yy - slope_y**2 / square)[kept],
    ).scaled((honest * weight)[kept])
    return TileFit(kept, score[kept], information)


def _near(fraction: Numbers) -> Numbers:
    """Return the weights of the parabola through -1, 0 and 1, read at `fraction`."""
    below, above = fraction * (fraction - 1) / 2, fraction * (fraction + 1) / 2
    return np.stack([below, 1 - fraction**2, above], axis=-1)
