"""The one motion that most tiles agree on, and how well they know it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.registration.spread import (
    MEDIAN_CHI2_1,
    find_median,
    find_misfit,
    middle,
    sandwich,
)
from glimsum_workers.engine.registration.tile_fit import TileFit

Numbers = NDArray[np.float64]

MOST_PARAMETERS = 6
_TUKEY = 4.0
_ROUNDS = 10
_SWINGS = 4
_SETTLED = 1e-4
"""Pixels of the level."""
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
    robust : float64 array, (n,)
        What counts of each tile, 0..1: 0 for outliers.
    weights : float64 array, (n,)
        Share of each tile, 0..1: what counts of it times how well it knows, over the best.
    residuals : float64 array, (n, 2)
        Displacement left in each tile, pulled towards 0 where the tile knows little.
    """

    change: Numbers
    covariance: Numbers
    matrix: Numbers
    misfit: float
    alarm: float
    robust: Numbers
    weights: Numbers
    residuals: Numbers


def solve_step(
    fit: TileFit,
    basis: Numbers,
    groups: NDArray[np.intp],
    misfit: float = 0.0,
    robust: Numbers | None = None,
) -> Step | None:
    """Solve for the change of the parameters that the tiles ask for.

    Each tile asks for its own displacement, with the covariance of its own noise plus the common
    misfit (parallax, light that moved) squared; tiles far off are let go by Tukey's biweight.

    Parameters
    ----------
    fit : TileFit
        n tiles.
    basis : float64 array, (n, 2, parameters)
        From `models.model_basis`; at most six parameters.
    groups : int array, (n,)
        Number of the neighbourhood of each tile; neighbourhoods are taken as independent.
    misfit : float
        Where the search for it starts, pixels of the level.
    robust : float64 array, (n,), optional
        What counts of each tile at first, 0..1; all where not given.

    Returns
    -------
    Step or None
        None where the tiles cannot settle every parameter.

    Raises
    ------
    LightError
        What is told of the tiles differs in number, or there are more than six parameters.

    References
    ----------
    The common misfit is the between-study variance of DerSimonian & Laird 1986, doi
    10.1016/0197-2456(86)90046-2, found from a median; the covariance is White's sandwich 1980,
    doi 10.2307/1912934, over groups.
    """
    robust = np.ones(len(basis)) if robust is None else robust
    _check_alike(fit, basis, robust)
    tiles = _Tiles(fit, basis)
    turn = tiles.solve(robust, misfit)
    for number in range(1, _ROUNDS):
        if turn is None:
            return None
        # Half of the way from then on: weights and misfit, each found from the other, may swing.
        misfit = turn.misfit if number < _SWINGS else (misfit + turn.misfit) / 2
        before, turn = turn, tiles.solve(turn.robust, misfit)
        if turn is None:
            return None
        if number > 1 and float(np.abs(turn.change - before.change).max()) < _SETTLED:
            break
    if turn is None:
        return None
    left_x, left_y = turn.left[:2]
    scores = turn.robust * (basis[:, 0].T * left_x + basis[:, 1].T * left_y)
    alarm = float(np.sqrt(middle(turn.off**2 * tiles.largest) / MEDIAN_CHI2_1))
    return Step(
        change=turn.change,
        covariance=sandwich(scores.T, turn.matrix, groups),
        matrix=turn.matrix,
        misfit=turn.misfit,
        alarm=alarm,
        robust=turn.robust,
        weights=turn.robust * np.sqrt(tiles.largest / tiles.largest.max()),
        residuals=turn.left[2:4].T,
    )


@dataclass(frozen=True)
class _Round:
    """One solution, and the weights and the misfit that it leads to."""

    change: Numbers
    matrix: Numbers
    left: Numbers
    off: Numbers
    misfit: float
    robust: Numbers


class _Tiles:
    """What stays the same while the weights are found."""

    def __init__(self, fit: TileFit, basis: Numbers) -> None:
        from glimsum_workers.engine.compiled.tile_rounds import (  # noqa: PLC0415  # costs 0.5 s
            LANES,
            SIZE,
            lay_tiles,
        )

        count, _, self._freedom = basis.shape
        self._batches = np.zeros((-(-count // LANES), SIZE))
        lay_tiles(fit.information, fit.score, basis, self._batches)
        self.largest, self._x, self._y = _find_strongest(fit.information)
        self._wanted = (self._x * fit.score[0] + self._y * fit.score[1]) / self.largest
        self._variance = 1 / self.largest

    def solve(self, robust: Numbers, misfit: float) -> _Round | None:
        from glimsum_workers.engine.compiled.tile_rounds import (  # noqa: PLC0415  # as above
            take_off,
            weigh_tiles,
        )

        matrix, right = np.empty((self._freedom, self._freedom)), np.empty(self._freedom)
        weigh_tiles(self._batches, robust, misfit, matrix, right)
        if not _is_sound(matrix):
            return None
        change = np.asarray(np.linalg.solve(matrix, right), dtype=np.float64)
        moved, left = np.empty((2, robust.size)), np.empty((5, robust.size))
        take_off(self._batches, change, moved, left)
        off = self._wanted - self._x * moved[0] - self._y * moved[1]
        scale2 = max(find_median(left[4]) / _MEDIAN_CHI2_2, 1.0)
        return _Round(
            change=change,
            matrix=matrix,
            left=left,
            off=off,
            misfit=find_misfit(off, self._variance, robust),
            robust=np.clip(1 - left[4] / (_TUKEY**2 * scale2), 0, 1) ** 2,
        )


def _check_alike(fit: TileFit, basis: Numbers, robust: Numbers) -> None:
    """Refuse what compiled code, which looks at no bounds, would read or write beyond its end."""
    counts = [fit.score.shape[1], fit.information.shape[1], len(basis), len(robust)]
    freedom = basis.shape[2]
    if len(set(counts)) > 1 or freedom > MOST_PARAMETERS:
        raise LightError(
            "What is told of the tiles doesn't fit together",
            seen=f"{', '.join(map(str, counts))} tiles, {freedom} parameters",
            expected=f"one number of tiles, at most {MOST_PARAMETERS} parameters",
            remedy="Take score, information, basis and weights of the same tiles.",
        )


def _find_strongest(information: Numbers) -> tuple[Numbers, Numbers, Numbers]:
    """Return the larger eigenvalue of each tile, at least 1e-12, and x, y of its direction."""
    xx, xy, yy = information
    half, apart = (xx + yy) / 2, np.hypot((xx - yy) / 2, xy)
    angle = np.arctan2(2 * xy, xx - yy) / 2
    return np.maximum(half + apart, 1e-12), np.cos(angle), np.sin(angle)


def _is_sound(matrix: Numbers) -> bool:
    if not np.isfinite(matrix).all():
        return False
    values = np.linalg.eigvalsh(matrix)
    return bool(values[0] > 1e-6 * max(values[-1], 1e-6))
