"""Two frames of one pass compared: the ratio of their light, their motion let go."""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.codes import Plane
from glimsum_workers.engine.level.cells import Motion, Values, centred, differ
from glimsum_workers.engine.robust import (
    biweight,
    robust_mean,
    weighted_median,
    weighted_sigma,
)

_STEPS = 12
_TILE = 12
"""Cells a side of a tile. Smaller ones tell a ratio from a shift badly: see `compare_levels`."""
_TILE_SHIFT = 0.5
"""Cells (one sigma) by which a tile may lie off the common motion."""
_TILE_FLOOR = 1e-5
"""Variance of ln ratio that even the best tile has: glints, parallax inside it."""


_PAIR_FLOOR = 3e-4
"""Standard error of ln ratio that every pair has, and no sigma of its tiles tells."""
_JOINS = 12


class Pair(NamedTuple):
    """What comparing two frames gave.

    Attributes
    ----------
    first, second : int
        Indices of the frames.
    log_ratio : float
        ln (light of second / light of first).
    sigma : float
        Standard error of `log_ratio`; inf where there was not enough light.
    """

    first: int
    second: int
    log_ratio: float
    sigma: float


def no_motion() -> Motion:
    """Return the map that leaves every cell where it is."""
    return np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])


def join_motions(first: Motion, then: Motion) -> Motion:
    """Return the map from the last frame to the first of two joined pairs.

    Parameters
    ----------
    first, then : Motion
        Of frames (a, b) and (b, c), each as `find_motion` returns it.

    Returns
    -------
    Motion
        Of frames (a, c).
    """
    return np.asarray(first @ np.vstack([then, [0.0, 0.0, 1.0]]), dtype=np.float64)


def find_motion(
    before: Plane, after: Plane, valid: NDArray[np.bool_], doubt: Plane, start: Motion
) -> Motion:
    """Return the affine map by which `after` shows what `before` showed.

    Parameters
    ----------
    before, after : Plane, (rows, columns)
        Scene-linear cell means, ambient removed.
    valid : bool array, (rows, columns)
        Cells to use.
    doubt : Plane, (rows, columns)
        Light below which a cell tells little; see `compare_levels`.
    start : Motion
        Where to begin. Steps of up to about two cells beyond it are found.

    Returns
    -------
    Motion
        ``ln after(p) = ln before(motion p) + constant``; `start` where there is no light.

    Notes
    -----
    Gauss-Newton steps on the logarithms, in which a change of the lamp is an offset solved
    beside the map, with Tukey's biweight (doi 10.1080/00401706.1974.10489171).
    """
    motion = start.copy()
    x, y = centred(before)
    for _ in range(_STEPS):
        left, prior, moved, _ = differ(before, after, valid, doubt, motion)
        if np.count_nonzero(prior > 0.1) < 30:
            return start
        left = left - weighted_median(left, prior)
        weight = prior * biweight(left, weighted_sigma(left, prior))
        gx, gy = np.gradient(moved, axis=1), np.gradient(moved, axis=0)
        use = weight > 0
        columns = [np.ones_like(x), gx * x, gx * y, gx, gy * x, gy * y, gy]
        design = np.stack([column[use] for column in columns], axis=1)
        normal = design.T @ (design * weight[use][:, None])
        # A ridge far below any real texture keeps a plain picture from dividing by nothing.
        normal += 1e-9 * np.diag(np.maximum(np.diag(normal), 1e-12))
        change = np.linalg.solve(normal, design.T @ (weight[use] * left[use]))
        motion = motion + change[1:].reshape(2, 3)
        if max(abs(change[3]), abs(change[6])) < 1e-4:
            break
    return motion


def compare_levels(
    before: Plane,
    after: Plane,
    valid: NDArray[np.bool_],
    doubt: Plane,
    motion: Motion,
    *,
    moving: bool = True,
) -> tuple[float, float]:
    """Return ln of the light ratio of two small pictures, and its standard error.

    Parameters
    ----------
    before, after : Plane, (rows, columns)
        Scene-linear cell means, ambient removed.
    valid : bool array, (rows, columns)
        Cells to use.
    doubt : Plane, (rows, columns)
        A cell counts by light**2 / (light**2 + doubt**2): its noise, and what an error of
        the ambient may put into it.
    motion : Motion
        From `find_motion`, or `no_motion`.
    moving : bool
        Whether each tile of 12 x 12 cells may also lie up to about half a cell off `motion`
        (parallax).

    Returns
    -------
    log_ratio : float
        Natural logarithm of after over before.
    sigma : float
        ln (after / before), and the sandwich standard error over tiles; 0 and inf where
        fewer than 5 tiles hold light in both.

    Notes
    -----
    Logarithms make the comparison even-handed: exchanging the frames changes the sign and
    nothing else, while a regression of one on the other is pulled to low ratios by noise.
    Ratio and shift are solved tile by tile, as on a slope of light one looks like the other:
    such a tile's ratio has a large variance and counts little. Over the tiles Tukey's
    biweight leaves out a part of the picture that changes by itself.
    """
    tiles = tuple(-(-size // _TILE) for size in before.shape)
    shift = np.zeros((2, *tiles))
    ratio, variance, lit = np.zeros(tiles), np.ones(tiles), np.zeros(tiles)
    for _ in range(3 if moving else 1):
        spread = [_spread_out(np.asarray(each), before.shape) for each in shift]
        left, prior, _, mean = differ(before, after, valid, doubt, motion, extra=spread)
        ratio, change, variance, lit = _solve_tiles(left, prior, mean, shift if moving else None)
        shift = shift + change
    use = lit > 0
    if np.count_nonzero(use) < 5:
        return 0.0, np.inf
    weight = 1.0 / (variance[use] + _TILE_FLOOR)
    middle, sigma = robust_mean(ratio[use], weight)
    # Few tiles that agree by chance would claim to be sure of it.
    many = float(weight.sum() ** 2 / (weight**2).sum())
    return middle, float(sigma * np.sqrt(1 + 10 / many))


def join_pairs(pairs: Sequence[Pair], count: int) -> tuple[Values, Values]:
    """Return ln gain of each frame and its standard error, from all pairs together.

    Parameters
    ----------
    pairs : sequence of Pair
    count : int
        Frames the pairs join.

    Returns
    -------
    logs : float64 array, (count,)
        About the median frame.
    errors : float64 array, (count,)
        Standard errors; inf where no pair tells of a frame. What the pairs disagree beyond
        their own sigma widens every error.

    Notes
    -----
    Least deviations, then least squares with Tukey's biweight over the pairs: a pair that took a
    boat for the set is out, as most others contradict it.
    """
    design = np.zeros((len(pairs), count))
    for row, pair in enumerate(pairs):
        design[row, pair.first], design[row, pair.second] = -1.0, 1.0
    sigma = np.array([pair.sigma for pair in pairs])
    target = np.array([pair.log_ratio for pair in pairs])
    # A pair without light has weight 0; its frame then has no finite error of its own.
    sure = 1.0 / np.hypot(sigma, _PAIR_FLOOR)
    lit = (sure > 0).astype(np.float64)
    weight, logs, normal, scale = lit.copy(), np.zeros(count), np.zeros((count, count)), 1.0
    spare = len(pairs) - (count - 1)
    for step in range(_JOINS):
        # The mean of ln gain is free: one more row holds it at zero.
        rows = np.vstack([design * weight[:, None], np.full((1, count), weight.max())])
        normal = rows.T @ rows
        logs = np.linalg.lstsq(rows, np.append(target * weight, 0.0), rcond=None)[0]
        left = np.abs(target - design @ logs)
        if spare < 1:
            weight = sure
        elif step < _JOINS // 2:
            # Least deviations first, all pairs alike: a wrong pair may be very sure of itself.
            weight = lit / np.sqrt(np.maximum(left, 1e-3))
        else:
            scale = max(1.0, weighted_sigma(left * sure, lit))
            weight = sure * np.sqrt(biweight(left * sure, scale))
    errors = scale * np.sqrt(np.maximum(np.diag(np.linalg.pinv(normal)), 0.0))
    told = (np.abs(design) * weight[:, None]).sum(axis=0) > 0
    return logs - np.median(logs), np.where(told, errors, np.inf)


def _spread_out(tiles: NDArray[np.float64], shape: tuple[int, ...]) -> NDArray[np.float64]:
    """Return each cell's value of its tile."""
    whole = tiles.repeat(_TILE, axis=0).repeat(_TILE, axis=1)
    return np.asarray(whole[: shape[0], : shape[1]], dtype=np.float64)


def _solve_tiles(
    left: NDArray[np.float64],
    prior: NDArray[np.float64],
    mean: NDArray[np.float64],
    shift: NDArray[np.float64] | None,
) -> tuple[NDArray[np.float64], ...]:
    """Return each tile's ln ratio, change of shift, variance of the ratio, and if it is lit."""
    values, weights = _cut(left), _cut(prior)
    amount = weights.sum(axis=-1)
    lit = amount > 0.3 * _TILE**2
    safe = np.where(lit, amount, 1.0)
    middle = np.where(lit, (weights * values).sum(axis=-1) / safe, 0.0)
    scale, robust = _spread(values, weights, middle)
    middle = (robust * values).sum(axis=-1) / np.maximum(robust.sum(axis=-1), 1e-9)
    scale, robust = _spread(values, weights, middle)
    columns = [np.ones_like(values)]
    if shift is not None:
        columns += [_cut(np.gradient(mean, axis=1)), _cut(np.gradient(mean, axis=0))]
    design = np.stack(columns, axis=-1)
    normal = np.einsum("rcki,rck,rckj->rcij", design, robust, design) / scale[..., None, None] ** 2
    pull = np.einsum("rcki,rck,rck->rci", design, robust, values) / scale[..., None] ** 2
    normal += 1e-6 * np.eye(design.shape[-1])
    change = np.zeros((2, *lit.shape))
    if shift is not None:
        # The shift of a tile is held to about half a cell, or plain light would let it run.
        normal += np.diag([0.0, 1.0, 1.0]) / _TILE_SHIFT**2
        pull[..., 1:] -= np.moveaxis(shift, 0, -1) / _TILE_SHIFT**2
    inverse = np.linalg.inv(normal)
    answer = np.einsum("rcij,rcj->rci", inverse, pull)
    if shift is not None:
        change = np.moveaxis(np.clip(answer[..., 1:], -1.0, 1.0), -1, 0) * lit
    return answer[..., 0], change, inverse[..., 0, 0], lit


def _spread(
    values: NDArray[np.float64], weights: NDArray[np.float64], middle: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return each tile's sigma about `middle`, and its cells' weights without outliers."""
    away = values - middle[..., None]
    scale = np.asarray(np.maximum(1.4826 * np.median(np.abs(away), axis=-1), 0.003))
    return scale, weights * biweight(away, scale[..., None])


def _cut(plane: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the tiles of a plane, (tile rows, tile columns, cells); cells beyond it are 0."""
    rows, columns = (-(-size // _TILE) for size in plane.shape)
    pad = [(0, rows * _TILE - plane.shape[0]), (0, columns * _TILE - plane.shape[1])]
    whole = np.pad(plane, pad).reshape(rows, _TILE, columns, _TILE)
    return whole.transpose(0, 2, 1, 3).reshape(rows, columns, _TILE**2)
