"""How far a pass moved from frame to frame beyond the reference, and what that is worth."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.drift.chain import solve_chain
from glimsum_workers.engine.drift.series import SHIFT, Series, as_motion, as_row
from glimsum_workers.engine.motion import Registration
from glimsum_workers.engine.robust import biweight

Numbers = NDArray[np.float64]

_LEAST_PAIRS = 6
_LEAST_VARIANCE = 1e-6
_MOST_SHARE = 0.48
"""Most of the variance of a difference that may be the error of one frame."""
_SURE = 2.0
"""Standard errors by which neighbouring differences must be opposed."""


@dataclass(frozen=True)
class Increments:
    """Differences of the drift between neighbours in a series.

    Attributes
    ----------
    steps : float64 array, (n - 1, 2)
        dx, dy from a frame to the next, pixels, less their mean error; 0 where not known.
    variances : float64 array, (n - 1, 2)
        Infinite where not known.
    frame_variance : float
        Error of one frame of the series that the next frame doesn't share, pixels squared; 0 where
        it could not be told.
    """

    steps: Numbers
    variances: Numbers
    frame_variance: float


def find_increments(
    series: Series,
    own_steps: Mapping[int, Registration],
    reference_steps: Mapping[int, Registration],
    size: tuple[int, int],
) -> Increments:
    """Compare what frames say of themselves with what neighbours say of each other.

    Parameters
    ----------
    series : Series
        Drift measured frame by frame across lights.
    own_steps, reference_steps : mapping of int to Registration
        From frame n to the next frame, of the pass and of the reference; same light.
    size : tuple of int
        (height, width) of the picture, pixels.

    Returns
    -------
    Increments
        None is known where the shot is too short (about 20 frames), or its frames too good, to
        tell that single frames have errors of their own.

    Notes
    -----
    With x the drift, an increment is ``P x[n] R**-1 - x[n]``, P and R the steps of pass and
    reference. Light that falls elsewhere weighs near and far differently, so increments have an
    error of their own that stays alike over the shot: the median of (series less increments) is
    taken out. What is left is ``e[n+1] - e[n] - f[n]`` with errors e of single frames and f of
    increments; its variance is ``2 var(e) + var(f)`` and its covariance with the next one
    ``-var(e)``, which tells the two apart if it is twice its own standard error. Real jitter is in
    both and cancels. Only increments that are surer by their own account (the two sigmas together)
    than a frame are looked at: under parallax an increment answers the camera's jitter with a
    share of its own, which looks just like errors of single frames.
    """
    count = len(series.frames)
    raw = np.full((count - 1, 2), np.nan)
    most = float(np.median(series.sigma[series.known, 0])) if series.known.any() else np.inf
    for place, frame in enumerate(series.frames[:-1]):
        pair = own_steps.get(frame), reference_steps.get(frame)
        if pair[0] is None or pair[1] is None or series.frames[place + 1] != frame + 1:
            continue
        if pair[0].trusted and pair[1].trusted and _is_surer(pair[0], pair[1], most):
            raw[place] = _increment(series, place, pair[0], pair[1], size)
    unknown = Increments(np.zeros_like(raw), np.full_like(raw, np.inf), 0.0)
    measured = np.isfinite(raw[:, 0])
    both = measured & series.known[1:] & series.known[:-1]
    if both.sum() < _LEAST_PAIRS:
        return unknown
    left = np.diff(series.values[:, SHIFT], axis=0) - raw
    bias = np.median(left[both], axis=0)
    left = np.where(both[:, None], left - bias, np.nan)
    sigma = max(1.4826 * float(np.median(np.abs(left[both]))), _LEAST_VARIANCE**0.5)
    frame_variance = _single_variance(left, sigma)
    if frame_variance == 0.0:
        return unknown
    variance = max(sigma**2 - 2 * frame_variance, _LEAST_VARIANCE)
    weight = biweight(np.where(both[:, None], left, 0.0), sigma).min(axis=1)
    variances = np.where(measured, variance / np.maximum(weight, 1e-6), np.inf)
    steps = np.where(measured[:, None], raw + bias, 0.0)
    return Increments(steps, np.repeat(variances[:, None], 2, axis=1), frame_variance)


def _is_surer(own: Registration, reference: Registration, most: float) -> bool:
    return float(np.hypot(own.sigma_px, reference.sigma_px)) < most


def _increment(
    series: Series, place: int, own: Registration, reference: Registration, size: tuple[int, int]
) -> Numbers:
    here = as_motion(series.values[place], size, affine=True).as_affine()
    back = reference.motion.as_affine().inverse()
    there = own.motion.as_affine().after(here).after(back)
    return np.asarray(as_row(there, size)[SHIFT] - series.values[place, SHIFT], dtype=np.float64)


def _single_variance(left: Numbers, sigma: float) -> float:
    """Return the variance of the errors of single frames, 0 where they can't be told."""
    usual = np.where(np.abs(left) < 4 * sigma, left, np.nan)
    products = usual[1:] * usual[:-1]
    count = int(np.isfinite(products).sum())
    if count == 0:
        return 0.0
    opposed = -float(np.nanmean(products))
    if opposed < _SURE * sigma**2 / np.sqrt(count):
        return 0.0
    return min(opposed, _MOST_SHARE * sigma**2)


def refine_series(series: Series, increments: Increments) -> Series:
    """Move frames by what their increments know better, and lessen their sigmas by as much.

    Parameters
    ----------
    series : Series
    increments : Increments
        Of the same frames.

    Returns
    -------
    Series
        One least squares over frames and increments, each weighted by its own errors; nothing
        else pulls neighbours together, so jitter stays. Only the error that a frame doesn't share
        with the others shrinks. The same where nothing is known of the increments.
    """
    own = increments.frame_variance
    linked = np.isfinite(increments.variances)
    if own == 0.0 or not linked.any():
        return series
    usual = np.median(series.sigma[series.known, 0])
    variances = own * (series.sigma[:, SHIFT] / usual) ** 2
    linked &= (series.known[1:] & series.known[:-1])[:, None]
    links = np.where(linked, increments.variances, np.inf)
    known = series.known[:, None]
    solved, left = solve_chain(
        np.where(known, series.values[:, SHIFT], 0.0),
        np.where(known, variances, 1.0),
        increments.steps,
        links,
    )
    values, sigma = series.values.copy(), series.sigma.copy()
    values[:, SHIFT] = np.where(known, solved, values[:, SHIFT])
    shared = np.maximum(sigma[:, SHIFT] ** 2 - variances, 0.0)
    sigma[:, SHIFT] = np.where(known, np.sqrt(shared + left), np.inf)
    return Series(series.frames, values, sigma, series.known)
