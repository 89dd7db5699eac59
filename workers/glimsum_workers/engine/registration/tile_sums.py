"""Sums over tiles of two band-passed pictures, from which any small shift can be judged."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

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
_NO_WEIGHT: NDArray[np.float32] = np.ones((1, 1), dtype=np.float32)


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
    cross : float64 array, (n, 7, 7)
        Sum of I(x) J(x + offset + k), k = -3 .. 3 in y, then x.
    energy : float64 array, (n, 3, 3)
        Sum of J(x + offset + k)**2, k = -1 .. 1.
    own : float64 array, (n, 6)
        Sums of I I, I gx, I gy, gx gx, gx gy, gy gy.
    count : float64 array, (n,)
        Valid pixels.
    """

    centres: NDArray[np.float64]
    offsets: NDArray[np.float64]
    cross: NDArray[np.float64]
    energy: NDArray[np.float64]
    own: NDArray[np.float64]
    count: NDArray[np.float64]


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
        sum_products,
    )

    _check_alike(reference, moving)
    size = (reference.band.shape[0], reference.band.shape[1])
    offsets = np.rint(expected).astype(np.intp)
    tops, lefts = lay_tiles(size)
    inside = _inside(size, tops[:, None], lefts[None, :], offsets)
    centres = tile_centres(size)
    bits = [np.ascontiguousarray(each.band).view(np.int16) for each in (reference, moving)]
    parts = []
    for row, first, last in _runs(offsets, inside):
        x, y = (int(v) for v in offsets[row, first])
        here = slice(tops[row], tops[row] + TILE), slice(lefts[first], lefts[last - 1] + TILE)
        valid = _valid(reference.valid, moving.valid, here, _moved(here, y, x))
        # Most runs hold nothing clipped, and are quicker without weights.
        weighted = valid is not None and not valid.all()
        weight = valid.astype(np.float32) if valid is not None and weighted else _NO_WEIGHT
        told = np.empty((last - first, SUMS))
        top, left = int(tops[row]), int(lefts[first])
        sum_products(bits[0], top, left, bits[1], top + y, left + x, weight, weighted, SLOPE, told)
        parts.append((centres[row, first:last], offsets[row, first:last], told))
    if not parts:
        none = np.zeros((0, 2))
        return TileSums(none, none, np.zeros((0, _SIDE, _SIDE)), np.zeros((0, 3, 3)),
                        np.zeros((0, 6)), np.zeros(0))  # fmt: skip
    places, steps, sums = (np.concatenate(each) for each in zip(*parts, strict=True))
    kept = sums[:, -1] >= 0.5 * TILE * TILE
    sums, cells = sums[kept], _SIDE * _SIDE
    return TileSums(
        places[kept],
        steps[kept].astype(np.float64),
        sums[:, :cells].reshape(-1, _SIDE, _SIDE),
        sums[:, cells : cells + 9].reshape(-1, 3, 3),
        sums[:, cells + 9 : -1],
        sums[:, -1],
    )


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


def _runs(offsets: NDArray[np.intp], inside: Mask) -> Iterator[tuple[int, int, int]]:
    """Give (row, first column, last column + 1) of neighbours with the same offset."""
    for row, (whole, kept) in enumerate(zip(offsets, inside, strict=True)):
        changes = np.flatnonzero(
            (np.diff(whole, axis=0) != 0).any(axis=1) | (kept[1:] != kept[:-1])
        )
        edges = [0, *(int(each) + 1 for each in changes), len(kept)]
        for first, last in pairwise(edges):
            if kept[first]:
                yield row, first, last


def _moved(here: tuple[slice, slice], y: int, x: int) -> tuple[slice, slice]:
    rows, columns = here
    return (
        slice(rows.start + y, rows.stop + y),
        slice(columns.start + x, columns.stop + x),
    )


def _valid(
    reference: Mask | None,
    moving: Mask | None,
    here: tuple[slice, slice],
    there: tuple[slice, slice],
) -> Mask | None:
    if reference is None:
        return None if moving is None else moving[there]
    return reference[here] if moving is None else reference[here] & moving[there]
