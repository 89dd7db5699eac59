"""The one motion that most tiles agree on, and how well they know it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.registration.spread import find_misfit, middle, sandwich
from glimsum_workers.engine.registration.symmetric import Symmetric
from glimsum_workers.engine.registration.tile_fit import TileFit

Numbers = NDArray[np.float64]

_TUKEY = 4.0
_ROUNDS = 10
_SETTLED = 1e-4
"""Pixels of the level."""
_MEDIAN_CHI2_1 = 0.4549
_MEDIAN_CHI2_2 = 1.386


@dataclass(frozen=True)
class Step:
    """One step towards the motion.

    Attributes
    ----------
    change : float64 array, (parameters,)
        To be added to the parameters, pixels of the level.
    covariance : float64 array, (parameters, parameters)
        Of the parameters, from how the neighbourhoods differ among each other.
    matrix : float64 array, (parameters, parameters)
        Of the normal equations, per pixel of the level squared.
    misfit : float
        How far (one sigma, pixels of the level) tiles lie off the motion beyond their own noise.
    alarm : float
        Deviation of the tiles over what their own noise allows; 1 is ideal.
    weights : float64 array, (n,)
        Share of each tile, 0..1: 0 for outliers.
    residuals : float64 array, (n, 2)
        Displacement left in each tile, pulled towards 0 where the tile knows little.
    """

    change: Numbers
    covariance: Numbers
    matrix: Numbers
    misfit: float
    alarm: float
    weights: Numbers
    residuals: Numbers


def solve_step(
    fit: TileFit, basis: Numbers, groups: NDArray[np.intp], misfit: float = 0.0
) -> Step | None:
    """Solve for the change of the parameters that the tiles ask for.

    Each tile asks for its own displacement, with the covariance of its own noise plus the common
    misfit (parallax, light that moved) squared; tiles far off are let go by Tukey's biweight.

    Parameters
    ----------
    fit : TileFit
        n tiles.
    basis : float64 array, (n, 2, parameters)
        From `models.model_basis`.
    groups : int array, (n,)
        Number of the neighbourhood of each tile; neighbourhoods are taken as independent.
    misfit : float
        Where the search for it starts, pixels of the level.

    Returns
    -------
    Step or None
        None where the tiles cannot settle every parameter.

    References
    ----------
    The common misfit is the between-study variance of DerSimonian & Laird 1986, doi
    10.1016/0197-2456(86)90046-2, found from a median; the covariance is White's sandwich 1980,
    doi 10.2307/1912934, over groups.
    """
    tiles = _Tiles(fit, basis)
    turn = _solve_round(tiles, np.ones(len(basis)), misfit)
    for number in range(1, _ROUNDS):
        if turn is None:
            return None
        before, turn = turn, _solve_round(tiles, turn.robust, turn.misfit)
        if turn is None:
            return None
        if number > 1 and float(np.abs(turn.change - before.change).max()) < _SETTLED:
            break
    if turn is None:
        return None
    left_x, left_y = turn.left
    scores = turn.robust * (tiles.across * left_x + tiles.down * left_y)
    alarm = float(np.sqrt(middle(turn.off**2 * tiles.largest) / _MEDIAN_CHI2_1))
    return Step(
        change=turn.change,
        covariance=sandwich(scores.T, turn.matrix, groups),
        matrix=turn.matrix,
        misfit=turn.misfit,
        alarm=alarm,
        weights=turn.robust * np.sqrt(tiles.largest / tiles.largest.max()),
        residuals=np.stack(turn.weight.softened().inverse().apply(left_x, left_y), axis=-1),
    )


class _Tiles:
    """What stays the same while the weights are found."""

    def __init__(self, fit: TileFit, basis: Numbers) -> None:
        self.fit = fit
        self.across = np.ascontiguousarray(basis[:, 0].T)
        self.down = np.ascontiguousarray(basis[:, 1].T)
        self.largest, x, y = fit.information.strongest()
        self.wanted = (x * fit.score[:, 0] + y * fit.score[:, 1]) / self.largest
        self.along = x * self.across + y * self.down


@dataclass(frozen=True)
class _Round:
    """One solution, and the weights and the misfit that it leads to."""

    change: Numbers
    matrix: Numbers
    weight: Symmetric
    left: tuple[Numbers, Numbers]
    off: Numbers
    misfit: float
    robust: Numbers


def _solve_round(tiles: _Tiles, robust: Numbers, misfit: float) -> _Round | None:
    own, score = tiles.fit.information, tiles.fit.score
    # (own^-1 + misfit^2)^-1, without ever inverting a tile that knows one direction only.
    shrink = own.scaled(misfit**2).plus_unit().inverse()
    weight = shrink.times(own)
    target = shrink.apply(score[:, 0], score[:, 1])
    matrix, right = _normal(weight, target, tiles.across, tiles.down, robust)
    if not _is_sound(matrix):
        return None
    change = np.asarray(np.linalg.solve(matrix, right), dtype=np.float64)
    moved = weight.apply(change @ tiles.across, change @ tiles.down)
    left = target[0] - moved[0], target[1] - moved[1]
    off = tiles.wanted - change @ tiles.along
    chi2 = weight.softened().inverse().form(*left)
    scale2 = max(middle(chi2) / _MEDIAN_CHI2_2, 1.0)
    return _Round(
        change=change,
        matrix=matrix,
        weight=weight,
        left=left,
        off=off,
        misfit=find_misfit(off, 1 / tiles.largest, robust),
        robust=np.clip(1 - chi2 / (_TUKEY**2 * scale2), 0, 1) ** 2,
    )


def _normal(
    weight: Symmetric,
    target: tuple[Numbers, Numbers],
    across: Numbers,
    down: Numbers,
    robust: Numbers,
) -> tuple[Numbers, Numbers]:
    xx, xy, yy = robust * weight.xx, robust * weight.xy, robust * weight.yy
    matrix = (xx * across + xy * down) @ across.T + (xy * across + yy * down) @ down.T
    return matrix, across @ (robust * target[0]) + down @ (robust * target[1])


def _is_sound(matrix: Numbers) -> bool:
    if not np.isfinite(matrix).all():
        return False
    values = np.linalg.eigvalsh(matrix)
    return bool(values[0] > 1e-6 * max(values[-1], 1e-6))
