"""Sums over tiles of two band-passed pictures, from which any small shift can be judged."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.registration.bands import Mask
from glimsum_workers.engine.registration.prepared import Level
from glimsum_workers.engine.registration.taps import REACH, SLOPE

TILE = 16
_MARGIN = 5
"""Pixels at the edge of a picture that the repeated edge has bent."""
_SIDE = 2 * REACH + 1
_EVERYWHERE: Mask = np.ones((0, 0), dtype=np.bool_)


@dataclass(frozen=True)
class TileSums:
    """Sums over the tiles of a pair, each tile with its own whole-pixel displacement.

    I is the reference, J the moving picture, g the slope of I; sums run over the valid pixels of
    a tile. All displacements are in pixels of the level.

    Attributes
    ----------
    centres : float64 array, (n, 2)
        x, y of the tiles' centres from the centre of the picture.
    offsets : float64 array, (n, 2)
        Whole dx, dy about which `cross` stands.
    table : float64 array, (n, 65)
        Of each tile `cross`, `energy`, `own` and `count`, one after the other.
    """

    centres: NDArray[np.float64]
    offsets: NDArray[np.float64]
    table: NDArray[np.float64]

    @property
    def cross(self) -> NDArray[np.float64]:
        """Sum of I(x) J(x + offset + k), (n, 7, 7), k = -3 .. 3 in y, then x."""
        return self.table[:, : _SIDE * _SIDE].reshape(-1, _SIDE, _SIDE)

    @property
    def energy(self) -> NDArray[np.float64]:
        """Sum of J(x + offset + k)**2, (n, 3, 3), k = -1 .. 1."""
        return self.table[:, _SIDE * _SIDE : -7].reshape(-1, 3, 3)

    @property
    def own(self) -> NDArray[np.float64]:
        """Sums of I I, I gx, I gy, gx gx, gx gy, gy gy, (n, 6)."""
        return self.table[:, -7:-1]

    @property
    def count(self) -> NDArray[np.float64]:
        """Valid pixels, (n,)."""
        return self.table[:, -1]


def lay_tiles(size: tuple[int, int]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return the first row of each row of tiles, and the first column of each column."""
    firsts = []
    for length in size:
        room = length - 2 * _MARGIN
        count = max(room // TILE, 1)
        start = (length - count * TILE) // 2
        firsts.append(start + TILE * np.arange(count, dtype=np.intp))
    return firsts[0], firsts[1]


def tile_centres(size: tuple[int, int]) -> NDArray[np.float64]:
    """Return x, y of the tiles' centres from the picture's centre: (rows, columns, 2)."""
    tops, lefts = lay_tiles(size)
    y, x = np.meshgrid(tops + TILE / 2 - size[0] / 2, lefts + TILE / 2 - size[1] / 2, indexing="ij")
    return np.stack([x, y], axis=-1).astype(np.float64)


def sum_tiles(reference: Level, moving: Level, expected: NDArray[np.float64]) -> TileSums:
    """Sum over the tiles of a pair.

    Parameters
    ----------
    reference, moving : Level
        Same size.
    expected : float64 array, (rows, columns, 2)
        Displacement dx, dy expected of each tile of `tile_centres`, pixels of the level; the sums
        hold for displacements within a pixel of its nearest whole one.

    Returns
    -------
    TileSums
        Only tiles that lie inside both pictures and have half of their pixels valid.

    Raises
    ------
    LightError
        Levels or masks differ in size.
    """
    from glimsum_workers.engine.compiled.tile_products import (  # noqa: PLC0415  # costs 0.5 s
        SUMS,
        sum_runs,
    )

    _check_alike(reference, moving)
    size = (reference.band.shape[0], reference.band.shape[1])
    whole = np.rint(expected).astype(np.intp)
    tops, lefts = lay_tiles(size)
    inside = _inside(size, tops[:, None], lefts[None, :], whole)
    bits = [np.ascontiguousarray(each.band).view(np.int16) for each in (reference, moving)]
    masks = [
        _EVERYWHERE if each.valid is None else np.ascontiguousarray(each.valid)
        for each in (reference, moving)
    ]
    table = np.empty((np.count_nonzero(inside), SUMS))
    sum_runs(*bits, *masks, _runs(tops, lefts, whole, inside), SLOPE, table)
    centres, offsets = tile_centres(size)[inside], whole[inside].astype(np.float64)
    kept = table[:, -1] >= 0.5 * TILE * TILE
    if kept.all():
        return TileSums(centres, offsets, table)
    return TileSums(centres[kept], offsets[kept], table[kept])


def _check_alike(reference: Level, moving: Level) -> None:
    """Refuse what compiled code, which looks at no bounds, would read beyond its end."""
    planes = (reference.band, moving.band, reference.valid, moving.valid)
    shapes = {plane.shape for plane in planes if plane is not None}
    if len(shapes) > 1:
        raise LightError(
            "Pictures and masks of one level differ in size",
            seen=", ".join(f"{shape[1]} x {shape[0]}" for shape in sorted(shapes)),
            expected="one size",
            remedy="Prepare both pictures anew, in one size.",
        )


def _inside(
    size: tuple[int, int],
    tops: NDArray[np.intp],
    lefts: NDArray[np.intp],
    offsets: NDArray[np.intp],
) -> Mask:
    """Return which tiles have all they read inside the moving picture, its margin left out."""
    top, left = tops + offsets[..., 1] - REACH, lefts + offsets[..., 0] - REACH
    bottom, right = top + TILE + 2 * REACH, left + TILE + 2 * REACH
    edge = _MARGIN - REACH
    inside = (top >= edge) & (left >= edge) & (bottom <= size[0] - edge) & (right <= size[1] - edge)
    return np.asarray(inside, dtype=np.bool_)


def _runs(
    tops: NDArray[np.intp], lefts: NDArray[np.intp], offsets: NDArray[np.intp], inside: Mask
) -> NDArray[np.int64]:
    """Return the runs of neighbours with the same offset that lie inside, in order: (runs, 5).

    Of each the top and left of its first tile, there and in the moving picture, and how many
    tiles it has.
    """
    goes_on = np.zeros(inside.shape, dtype=np.bool_)
    goes_on[:, 1:] = inside[:, 1:] & inside[:, :-1]
    goes_on[:, 1:] &= (offsets[:, 1:] == offsets[:, :-1]).all(axis=-1)
    rows, columns = np.nonzero(inside & ~goes_on)
    within = np.cumsum(~goes_on[inside]) - 1
    top, left = tops[rows], lefts[columns]
    x, y = offsets[rows, columns].T
    tiles = np.bincount(within, minlength=rows.size)
    return np.stack([top, left, top + y, left + x, tiles], axis=-1).astype(np.int64)
