"""A patch found in a picture near where it is expected: robust least squares on its detail."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.planar.homography import (
    Matrix,
    carry,
    from_unit,
    inverse,
    normed,
    step_basis,
    step_matrix,
)
from glimsum_workers.engine.planar.patch import Patch
from glimsum_workers.engine.planar.reading import Cutout, read_at
from glimsum_workers.engine.registration.bands import GENERAL
from glimsum_workers.engine.robust import biweight

_SLACK_PX = 0.1
"""A misplacement, in pixels of the level, that a steep place is forgiven: what is finer than a
pixel differs from frame to frame, most at edges."""
_FIRST_SLACK_PX = 0.6
_HIDDEN, _OPEN = 0.5, 0.9
"""Agreeing shares of a neighbourhood's detail at which it counts for nothing, and in full."""
_HANG_TOGETHER = 7.0
"""Pixels over which the noise of `bands.pass_band` hangs together (one over the sum of squares
of its narrow kernel)."""
_TURNS = 16
_STILL_PX = 2e-3
_LEAST_POINTS = 60


@dataclass(frozen=True)
class Fit:
    """Where a patch was found.

    Attributes
    ----------
    matrix : Matrix
        From the patch's own frame to this one.
    sigma_px : float
        Standard error of its worst corner, a axis, pixels of the full picture; infinite where
        nothing could be told.
    likeness : float
        Correlation of what is seen with the patch, at most 1.
    seen : float
        Share of the patch's detail, 0..1, that this frame shows as the patch does.
    weights : float32 array, (n,)
        0..1 by point: 0 where something else is seen.
    gain : float
        How much stronger the detail is here.
    covariance : float64 array, (freedom, freedom)
        Of the numbers of `homography.step_matrix` on the patch's own frame, in pixels of the full
        picture at its longer half side.
    """

    matrix: Matrix
    sigma_px: float
    likeness: float
    seen: float
    weights: NDArray[np.float32]
    gain: float
    covariance: NDArray[np.float64] = field(default_factory=lambda: np.zeros((8, 8)))


def fit_patch(patch: Patch, cutout: Cutout, seed: Matrix, freedom: int) -> Fit:
    """Find a patch within about two pixels of the level from where it is expected.

    Parameters
    ----------
    patch : Patch
    cutout : Cutout
        Of the frame to look in, of the same size of the picture as the patch.
    seed : Matrix
        Where the patch is expected.
    freedom : int
        How many numbers of `homography.step_matrix` are free: 2, 4, 6 or 8.

    Returns
    -------
    Fit
        Measured on a board of 100 x 50 pixels in a compressed film: corners 0.05 pixel a axis.

    Notes
    -----
    Gauss-Newton in the inverse compositional form, the gain of the whole patch let go, Tukey's
    biweight on each point so that what crosses in front does not pull. The standard error is the
    larger of two sandwiches: over neighbourhoods of 16 pixels, whose errors may hang together,
    and over single points whose noise does.

    References
    ----------
    Baker & Matthews 2004, Lucas-Kanade 20 years on, doi 10.1023/B:VISI.0000011205.11775.fd.
    Huber 1967 (the sandwich; from memory).
    """
    matrix, gain = seed, 1.0
    none: NDArray[np.float32] = np.zeros(len(patch.values), np.float32)
    here, pull, weights = none, none, none
    leads = patch.leads[:freedom]
    for turn in range(_TURNS):
        slack = max(_SLACK_PX, _FIRST_SLACK_PX * 0.5**turn)
        here, usable = read_at(cutout, carry(matrix, patch.points))
        if np.count_nonzero(usable) < _LEAST_POINTS:
            return _nothing(matrix, len(patch.values))
        spread = 2 * GENERAL.noise + np.square(slack * patch.steepness)
        allowed = np.asarray(np.sqrt(spread), dtype=np.float32)
        weights = _weigh(patch, _left(here, gain, patch), allowed, usable)
        pull = np.asarray(weights / np.square(allowed), dtype=np.float32)
        gain = _gain(here, patch.values, pull)
        leads = gain * patch.leads[:freedom]
        change = _solve((leads * pull) @ leads.T, (leads * pull) @ _left(here, gain, patch))
        if change is None:
            return _nothing(matrix, len(patch.values))
        step = from_unit(step_matrix(change / patch.reach_px), patch.to_unit)
        if not np.isfinite(step).all() or np.abs(change).max() > 2 * patch.reach_px:
            return _nothing(matrix, len(patch.values))
        matrix = normed(matrix @ inverse(step))
        if slack == _SLACK_PX and np.abs(change).max() < _STILL_PX:
            break
    sigma_px, covariance = _sigma(patch, leads, pull, _left(here, gain, patch))
    return Fit(
        matrix=matrix,
        sigma_px=sigma_px,
        likeness=_likeness(here, patch.values, weights),
        seen=float((weights * patch.values**2).sum() / max((patch.values**2).sum(), 1e-9)),
        weights=weights,
        gain=gain,
        covariance=covariance,
    )


def _left(here: NDArray[np.float32], gain: float, patch: Patch) -> NDArray[np.float32]:
    return np.asarray(here - np.float32(gain) * patch.values, dtype=np.float32)


def _weigh(
    patch: Patch,
    left: NDArray[np.float32],
    allowed: NDArray[np.float32],
    usable: NDArray[np.bool_],
) -> NDArray[np.float32]:
    """Return weights 0..1: low where a point differs, 0 where most of its neighbourhood does.

    What crosses in front is a thing, not single points: among its points are some that agree by
    chance, and these would pull.
    """
    scaled = (left / allowed).astype(np.float64)
    spread = max(1.4826 * float(np.median(np.abs(scaled[usable]))), 1.0)
    weights = biweight(scaled, spread) * usable
    power = np.square(patch.steepness.astype(np.float64)) + 1e-9
    agreeing = np.bincount(patch.cells, weights * power) / np.bincount(patch.cells, power)
    whole = np.clip((agreeing - _HIDDEN) / (_OPEN - _HIDDEN), 0, 1)
    return np.asarray(weights * whole[patch.cells], dtype=np.float32)


def _gain(
    here: NDArray[np.float32], there: NDArray[np.float32], weights: NDArray[np.float32]
) -> float:
    own = float((weights * there * there).sum())
    return float(np.clip((weights * here * there).sum() / max(own, 1e-9), 0.1, 10))


def _solve(matrix: NDArray[np.float64], right: NDArray[np.float64]) -> NDArray[np.float64] | None:
    values = np.linalg.eigvalsh(matrix)
    if not np.isfinite(values).all() or values[0] <= 1e-9 * max(float(values[-1]), 1e-9):
        return None
    return np.asarray(np.linalg.solve(matrix, right), dtype=np.float64)


def _likeness(
    here: NDArray[np.float32], there: NDArray[np.float32], weights: NDArray[np.float32]
) -> float:
    both = float((weights * here * there).sum())
    own = float((weights * here * here).sum()) * float((weights * there * there).sum())
    return both / np.sqrt(own) if own > 0 else 0.0


def _sigma(
    patch: Patch,
    leads: NDArray[np.float64],
    pull: NDArray[np.float32],
    left: NDArray[np.float32],
) -> tuple[float, NDArray[np.float64]]:
    """Return the standard error of the outline's worst point, rms over the axes, and all."""
    bread = np.linalg.inv((leads * pull) @ leads.T)
    scores = (leads * (pull * left)).T
    count = int(patch.blocks.max()) + 1
    sums = np.zeros((count, len(leads)))
    np.add.at(sums, patch.blocks, scores)
    # Few neighbourhoods tell too little: the fit has bent itself to each of them.
    few = count / max(count - len(leads) / 2, 1.0)
    corners = step_basis(carry(patch.to_unit, patch.outline))[:, :, : len(leads)]
    worst, covariance = -1.0, bread
    for meat in (few * sums.T @ sums, _HANG_TOGETHER * scores.T @ scores):
        spread = bread @ meat @ bread
        variances = np.einsum("nai,ij,naj->n", corners, spread, corners) / 2
        if float(variances.max()) > worst:
            worst, covariance = float(variances.max()), spread
    return float(np.sqrt(max(worst, 0.0))), np.asarray(covariance, dtype=np.float64)


def _nothing(matrix: Matrix, points: int) -> Fit:
    return Fit(matrix, np.inf, 0.0, 0.0, np.zeros(points, np.float32), 0.0)
