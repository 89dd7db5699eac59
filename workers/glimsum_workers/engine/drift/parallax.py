"""Parallax of a pass over a shot: how far the place of its camera was off, by all frames."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.drift.series import as_motion, as_row
from glimsum_workers.engine.drift.settle import true_variance
from glimsum_workers.engine.motion import Affine, Motion, Registration

Numbers = NDArray[np.float64]

RELIT_PX = 0.03
"""How far light from elsewhere feigns parallax, pixels a axis (measured: 0.02 to 0.04 on passes
whose camera stood in the same place)."""
_DOUBTED, _SURE = 1.5, 3.0
"""Sigmas of the shot's parallax below which it is taken for none, and above which all is kept."""


@dataclass(frozen=True)
class SettledParallax:
    """The parallax of a pass over its frames.

    Attributes
    ----------
    values : float64 array, (n, 2)
        x, y: pixels that a place one deviation nearer is displaced by beyond the mean place; 0
        everywhere where it isn't sure that the camera stood elsewhere.
    sigma_px : float64 array, (n,)
        Standard error per axis; infinite where no frame tells.
    measured : int
        Frames that were measured.
    """

    values: Numbers
    sigma_px: Numbers
    measured: int

    @property
    def is_kept(self) -> bool:
        """Return whether any frame is displaced."""
        return bool(self.values.any())


def settle_parallax(
    frames: Sequence[int], cross: Mapping[int, Registration], *, relit_px: float = RELIT_PX
) -> SettledParallax:
    """Settle the parallax of a pass from what its frames tell.

    Parameters
    ----------
    frames : sequence of int
        Frames of the shot, rising.
    cross : mapping of int to Registration
        From the reference to the pass; those without a parallax of their own tell nothing.
    relit_px : float
        How far the light may feign parallax, alike on all frames; 0 in the same light.

    Returns
    -------
    SettledParallax
        Each frame keeps the share t / (t + s**2) of its distance from the shot's level, s its own
        sigma, t the variance of the true parallax over the shot as far as the sigmas don't
        explain the scatter. A level below 1.5 of its own sigmas is taken for none, one above 3 is
        kept, in between a share. Frames that tell nothing get the level.

    References
    ----------
    t by DerSimonian & Laird 1986, doi 10.1016/0197-2456(86)90046-2; the share is firm shrinkage,
    Gao & Bruce 1997 (from memory); its two limits are chosen by what was measured.
    """
    told = [
        each
        for frame in frames
        if (each := cross.get(frame)) is not None
        and each.trusted
        and np.isfinite(each.parallax_sigma_px)
    ]
    count = len(frames)
    if not told:
        return SettledParallax(np.zeros((count, 2)), np.full(count, np.inf), 0)
    values = np.array([_parallax_of(each) for each in told])
    own = np.array([max(each.parallax_sigma_px, 1e-3) for each in told])[:, None] ** 2
    own = np.repeat(own, 2, axis=1)
    true = true_variance(values, own) if len(told) > 1 else 0.0
    weight = 1 / (own + true)
    level = (weight * values).sum(axis=0) / weight.sum(axis=0)
    level_variance = float(1 / weight[:, 0].sum()) + relit_px**2
    share = _kept_share(float(np.hypot(*level)) / np.sqrt(level_variance))
    kept = true * weight
    drawn = level * share + kept * (values - level)
    variance = kept[:, 0] * own[:, 0] + (1 - kept[:, 0]) ** 2 * level_variance
    places = {id(each): place for place, each in enumerate(told)}
    rows = [places.get(id(cross.get(frame)), -1) for frame in frames]
    settled = np.array([drawn[row] if row >= 0 else level * share for row in rows])
    wide = [variance[row] if row >= 0 else level_variance + true for row in rows]
    return SettledParallax(settled, np.sqrt(wide), len(told))


def hold_parallax(found: Registration, parallax: Numbers, size: tuple[int, int]) -> Registration:
    """Return a registration as it would be with its parallax held at another value.

    Parameters
    ----------
    found : Registration
        Its own parallax may be 0; then it is left as it is, but for that.
    parallax : float64 array, (2,)
        Pixels.
    size : tuple of int
        (height, width) of the picture, pixels.

    Returns
    -------
    Registration
        Shift, rotation and scale follow as the tiles want them then.
    """
    if isinstance(found.motion, Affine):
        return found
    change = parallax - _parallax_of(found)
    dx, dy, grown, turned = np.reshape(found.parallax_pull, (2, 4)).T @ change
    row = as_row(found.motion, size) + np.array([dx, dy, grown, -turned, turned, grown])
    plain = as_motion(row, size, affine=False)
    return replace(found, motion=with_parallax(plain, parallax))


def with_parallax(motion: Motion | Affine, parallax: Numbers) -> Motion | Affine:
    """Return a motion with this parallax; an `Affine` has none and stays."""
    if isinstance(motion, Affine):
        return motion
    x, y = parallax.tolist()
    return replace(motion, parallax=(x, y))


def _kept_share(sigmas: float) -> float:
    return float(np.clip((sigmas - _DOUBTED) / (_SURE - _DOUBTED), 0.0, 1.0))


def _parallax_of(found: Registration) -> Numbers:
    motion = found.motion
    return np.array([0.0, 0.0] if isinstance(motion, Affine) else motion.parallax)
