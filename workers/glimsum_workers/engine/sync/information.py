"""How much a pass shows of what the reference shows, whatever light each was shot in."""

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.motion import Affine, Motion
from glimsum_workers.engine.registration.prepared import Level, Prepared
from glimsum_workers.engine.registration.taps import read_between
from glimsum_workers.engine.registration.tile_sums import TileSums, sum_tiles, tile_centres

Numbers = NDArray[np.float64]

_ALIKE = 3.0
"""Pixels of the band that vary together, so that so many fewer count (white noise: 1 / 0.33)."""
_FULLY_ALIKE = 1.0 - 1e-6


def mutual_information(reference: Prepared, moving: Prepared, motion: Motion | Affine) -> float:
    """Return the information that a reference picture and an aligned pass share, tile by tile.

    Within each tile of 16 x 16 pixels the two band-passed pictures are taken as jointly Gaussian
    with a correlation rho of the tile's own, so light that changes the gain or the sign of
    contrast from place to place costs nothing: the tile shares ``-n / 2 ln(1 - rho**2)`` nats.

    Parameters
    ----------
    reference, moving : Prepared
        Same size.
    motion : Motion or Affine
        Where the pass shows points of the reference, right to about a pixel everywhere.

    Returns
    -------
    float
        Nats per tile of the finest level, mean over the reference's tiles that lie in both
        pictures, less what unrelated pictures share by chance (half a nat a tile); about 0 for
        unrelated pictures, where it may be slightly negative. 0 where no tile lies in both.

    Raises
    ------
    LightError
        If the pictures differ in size.

    References
    ----------
    Cover & Thomas 2006, Elements of Information Theory, 2nd ed., example 8.5.1 (mutual
    information of a bivariate Gaussian; from memory).
    """
    if reference.size != moving.size:
        raise LightError(
            "The two pictures to be compared differ in size",
            seen=f"{moving.size[1]} x {moving.size[0]} pixels",
            expected=f"{reference.size[1]} x {reference.size[0]} as the reference",
            remedy="Scale the pass to the size of the reference first.",
        )
    still, other = reference.levels[0], moving.levels[0]
    sums = _sum_aligned(still, other, motion, reference.size)
    if sums[0].count.size == 0:
        return 0.0
    shared = _squared_correlation(*sums)
    nats = -0.5 * sums[0].count / _ALIKE * np.log1p(-np.minimum(shared, _FULLY_ALIKE)) - 0.5
    return float(nats.mean())


def _sum_aligned(
    still: Level, other: Level, motion: Motion | Affine, size: tuple[int, int]
) -> tuple[TileSums, Numbers]:
    """Return the sums about the motion, and the displacement of each of their tiles."""
    grid = tile_centres((still.band.shape[0], still.band.shape[1]))
    sums = sum_tiles(still, other, _displacement(grid, still, motion, size))
    return sums, _displacement(sums.centres, still, motion, size)


def _displacement(
    places: Numbers, level: Level, motion: Motion | Affine, size: tuple[int, int]
) -> Numbers:
    """Return dx, dy in pixels of the level at places counted from the picture's centre."""
    centre = np.array([size[1] / 2, size[0] / 2])
    points = places.reshape(-1, 2) * level.factor + centre
    moved = motion.at(points, size) - points
    return np.asarray(moved / level.factor, dtype=np.float64).reshape(places.shape)


def _squared_correlation(sums: TileSums, displacement: Numbers) -> Numbers:
    """Return rho squared of each tile, the moving picture read between its pixels."""
    fraction = np.clip(displacement - sums.offsets, -1.0, 1.0)
    across, _ = read_between(fraction[:, 0])
    down, _ = read_between(fraction[:, 1])
    both = np.einsum("nij,ni,nj->n", sums.cross, down, across)
    energy = sums.energy[:, 1, 1]
    return np.asarray(both**2 / np.maximum(sums.own[:, 0] * energy, 1e-12), dtype=np.float64)
