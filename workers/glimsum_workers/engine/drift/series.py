"""Motions frame by frame as rows of numbers in pixels, which can be averaged and differenced."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.motion import Affine, Motion, Registration

Numbers = NDArray[np.float64]

SHIFT, TURN = slice(0, 2), slice(2, 6)
"""Columns of a row: dx, dy; the 2 x 2 matrix less the unit one, times half the diagonal."""
_LEAST_SIGMA_PX = 0.001


@dataclass(frozen=True)
class Series:
    """Motions over frames.

    Attributes
    ----------
    frames : tuple of int
        Rising.
    values : float64 array, (n, 6)
        From `as_row`, pixels; 0 where not known.
    sigma : float64 array, (n, 6)
        Standard errors, pixels; infinite where not known.
    known : bool array, (n,)
    """

    frames: tuple[int, ...]
    values: Numbers
    sigma: Numbers
    known: NDArray[np.bool_]

    def only_known(self) -> "Series":
        """Return the frames that are known."""
        kept = np.flatnonzero(self.known)
        frames = tuple(self.frames[each] for each in kept)
        return Series(frames, self.values[kept], self.sigma[kept], self.known[kept])


def half_diagonal(size: tuple[int, int]) -> float:
    """Return the distance of a corner of a picture (height, width) from its centre, pixels."""
    return float(np.hypot(*size)) / 2


def as_row(motion: Motion | Affine, size: tuple[int, int]) -> Numbers:
    """Return dx, dy and the matrix less the unit one times half the diagonal: (6,), pixels."""
    turn = (motion.turn() - np.eye(2)) * half_diagonal(size)
    return np.array([motion.dx, motion.dy, *turn.ravel()])


def as_motion(row: Numbers, size: tuple[int, int], *, affine: bool) -> Motion | Affine:
    """Return the motion of a row; without `affine` the similarity nearest to it."""
    dx, dy = float(row[0]), float(row[1])
    (xx, xy), (yx, yy) = (np.eye(2) + row[TURN].reshape(2, 2) / half_diagonal(size)).tolist()
    if affine:
        return Affine(dx, dy, ((xx, xy), (yx, yy)))
    grown, turned = (xx + yy) / 2, (yx - xy) / 2
    angle = float(np.rad2deg(np.arctan2(turned, grown)))
    return Motion(dx, dy, angle, float(np.hypot(grown, turned)))


def any_affine(registrations: Mapping[int, Registration]) -> bool:
    """Return whether a registration that is trusted is more than a similarity."""
    return any(isinstance(each.motion, Affine) for each in registrations.values() if each.trusted)


def row_sigma(found: Registration) -> Numbers:
    """Return the standard errors of a registration's row, (6,), pixels."""
    turn = np.sqrt(max(found.corner_sigma_px**2 - found.sigma_px**2, 0.0))
    both = np.array([found.sigma_px] * 2 + [float(turn)] * 4)
    return np.asarray(np.maximum(both, _LEAST_SIGMA_PX), dtype=np.float64)


def as_series(
    frames: Sequence[int], registrations: Mapping[int, Registration], size: tuple[int, int]
) -> Series:
    """Lay registrations out along frames; only those that are trusted are known.

    Parameters
    ----------
    frames : sequence of int
        Rising.
    registrations : mapping of int to Registration
    size : tuple of int
        (height, width) of the picture, pixels.

    Returns
    -------
    Series
    """
    count = len(frames)
    values, sigma = np.zeros((count, 6)), np.full((count, 6), np.inf)
    for place, frame in enumerate(frames):
        found = registrations.get(frame)
        if found is not None and found.trusted:
            values[place], sigma[place] = as_row(found.motion, size), row_sigma(found)
    return Series(tuple(frames), values, sigma, np.isfinite(sigma[:, 0]))
