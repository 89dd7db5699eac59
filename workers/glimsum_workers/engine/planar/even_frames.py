"""Frames held against the move of those about them: what is only error of measurement goes."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.planar.fit import Fit
from glimsum_workers.engine.planar.homography import (
    Points,
    carry,
    from_unit,
    inverse,
    map_through,
    normed,
    step_basis,
    step_matrix,
    unit_frame,
)

_REACH = 4
"""Frames before and after that tell how a camera moves through a frame."""
_LEAST_FRAMES = 6
_DEGREE = 2
_CHI2_MEDIAN = 0.4549
"""Median of chi squared with one degree of freedom."""

Numbers = NDArray[np.float64]


def even_frames(fits: Mapping[int, Fit], outline: Points, freedom: int) -> dict[int, Fit]:
    """Draw each frame towards the move of its neighbours, as far as its own error explains it.

    Parameters
    ----------
    fits : mapping of int to Fit
        From one common plane; at least six frames, else they are returned as they are.
    outline : Points, (m, 2)
        On that plane.
    freedom : int
        2, 4, 6 or 8: see `homography.step_matrix`.

    Returns
    -------
    dict of int to Fit
        With new matrices and sigmas. Number by number (shift, growth, turning ...): a parabola
        through the frames within four, and how far frames differ from it beyond their own
        standard error, over the whole shot, is the jitter of the camera. A frame keeps the share
        ``q / (q + r)`` of its difference, q the variance of the jitter and r that of its error;
        a frame that differs by more than both keeps all of it: jitter and knocks that can be
        seen stay.

    References
    ----------
    Efron & Morris 1973, doi 10.1080/01621459.1973.10481350 (shrinking by variances told by the
    data).
    """
    frames = sorted(fits)
    if len(frames) < _LEAST_FRAMES:
        return dict(fits)
    looks = {frame: _Look(frame, fits, outline, freedom) for frame in frames}
    apart = np.array([look.apart() for look in looks.values() if look.can_tell])
    if len(apart) < _LEAST_FRAMES:
        return dict(fits)
    errors = np.array([look.variances for look in looks.values() if look.can_tell])
    jitter = np.median(apart, axis=0) / _CHI2_MEDIAN - np.median(errors, axis=0)
    jitter = np.maximum(jitter, 0.0)
    return {frame: look.drawn(fits[frame], jitter) for frame, look in looks.items()}


class _Look:
    """A frame among its neighbours; numbers are steps from the frame's own place, in pixels."""

    def __init__(self, frame: int, fits: Mapping[int, Fit], outline: Points, freedom: int) -> None:
        self._to_unit = unit_frame(outline)
        self._reach_px = float(1 / self._to_unit[0, 0])
        near = [each for each in sorted(fits) if abs(each - frame) <= _REACH]
        back = inverse(fits[frame].matrix)
        corners = carry(inverse(self._to_unit), np.array([[-1.0, -1], [1, -1], [1, 1], [-1, 1]]))
        steps = [_steps(normed(back @ fits[each].matrix), corners, freedom) for each in near]
        self.times = np.array(near, dtype=np.float64) - frame
        self.steps = np.array(steps)
        self.variances = np.diag(fits[frame].covariance)[:freedom]
        self._all_variances = np.array([np.diag(fits[each].covariance)[:freedom] for each in near])
        self._outline = outline
        self.can_tell = len(near) >= _DEGREE + 3

    def apart(self) -> Numbers:
        """Return squares of how far the frame lies from where its neighbours put it.

        Each is divided by what the neighbours' own errors make of one: 1 where they have none.
        """
        others = self.times != 0
        weights = _weights(self.times[others], np.ones((int(others.sum()), 1)))[:, 0]
        expected = weights @ self.steps[others]
        return np.asarray(expected**2 / (1 + float(weights @ weights)), dtype=np.float64)

    def drawn(self, fit: Fit, jitter: Numbers) -> Fit:
        """Return the fit drawn towards its neighbours."""
        if not self.can_tell:
            return fit
        weights = _weights(self.times, 1 / (jitter + self._all_variances + 1e-12))
        smooth = (weights * self.steps).sum(axis=0)
        doubt = (weights**2 * (jitter + self._all_variances)).sum(axis=0)
        kept = np.maximum(jitter, smooth**2 - self.variances)
        share = kept / (kept + self.variances + 1e-12)
        step = step_matrix((1 - share) * smooth / self._reach_px)
        matrix = normed(fit.matrix @ from_unit(step, self._to_unit))
        left = share * self.variances + (1 - share) * np.minimum(doubt, self.variances)
        ratio = self._worst(left) / max(self._worst(self.variances), 1e-9)
        return replace(fit, matrix=matrix, sigma_px=fit.sigma_px * min(ratio, 1.0))

    def _worst(self, variances: Numbers) -> float:
        basis = step_basis(carry(self._to_unit, self._outline))[:, :, : len(variances)]
        return float(np.sqrt((basis**2 @ variances).mean(axis=1).max()))


def _steps(matrix: Numbers, corners: Points, freedom: int) -> Numbers:
    """Return the numbers of a small move, pixels at the longer half side."""
    to_unit = unit_frame(corners)
    moved = map_through(corners, carry(matrix, corners), "homography")
    unit = normed(to_unit @ moved @ inverse(to_unit))
    (a, b, c), (d, e, f), (g, h, _) = unit
    told = [c, f, (a + e) / 2 - 1, (d - b) / 2, (a - e) / 2, (b + d) / 2, -g, -h]
    return np.asarray(np.array(told[:freedom]) / to_unit[0, 0], dtype=np.float64)


def _weights(times: Numbers, precision: Numbers) -> Numbers:
    """Return the weights of values at times in a parabola's value at time 0, by column."""
    powers = np.vander(times, _DEGREE + 1, increasing=True)
    columns = []
    for column in precision.T:
        normal = powers.T @ (powers * column[:, np.newaxis])
        columns.append(np.linalg.solve(normal, (powers * column[:, np.newaxis]).T)[0])
    return np.stack(columns, axis=1)
