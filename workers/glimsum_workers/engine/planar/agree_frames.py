"""All frames found again on the patch they agree on: the second, finer look."""

from dataclasses import dataclass

import numpy as np

from glimsum_workers.engine.planar.consensus import agree_on_patch
from glimsum_workers.engine.planar.even_frames import even_frames
from glimsum_workers.engine.planar.fit import Fit, fit_patch
from glimsum_workers.engine.planar.homography import Matrix, Points
from glimsum_workers.engine.planar.search_frames import STILL, Walk
from glimsum_workers.engine.planar.template import is_found

_ROUNDS = 2
_LEAST_FRAMES = 3


@dataclass(frozen=True)
class Agreed:
    """Where the patch of all frames lies on each of them.

    Attributes
    ----------
    fits : dict of int to Fit
        From one plane common to all, which is the anchor frame's but for a fraction of a pixel.
    """

    fits: dict[int, Fit]

    def matrix(self, frame: int) -> Matrix:
        """Return the way from the common plane to a frame."""
        return self.fits[frame].matrix


def agree_frames(walk: Walk, anchor: int, outline: Points, freedom: int) -> Agreed:
    """Find the patch on every frame again, now as all frames agree on it.

    Parameters
    ----------
    walk : Walk
        Of the first look.
    anchor : int
        Frame the walk's matrices start from.
    outline : Points, (m, 2)
        On the anchor frame.
    freedom : int
        2, 4, 6 or 8.

    Returns
    -------
    Agreed
        Frames that were found, the anchor among them. Of fewer than three frames the anchor
        alone is the patch.
    """
    matrices = {
        f: fit.matrix for f, fit in walk.fits.items() if f in walk.cutouts and is_found(fit)
    }
    doubts = [walk.fits[f].sigma_px for f in matrices] or [0.0]
    own = Fit(STILL, float(np.median(doubts)), 1.0, 1.0, np.zeros(0, np.float32), 1.0)
    if len(matrices) + 1 < _LEAST_FRAMES or anchor not in walk.cutouts:
        return Agreed({anchor: own, **{f: walk.fits[f] for f in matrices}})
    matrices[anchor] = STILL
    fits: dict[int, Fit] = {}
    for _ in range(_ROUNDS):
        patch = agree_on_patch(walk.cutouts, matrices, outline)
        fits = {f: fit_patch(patch, walk.cutouts[f], m, freedom) for f, m in matrices.items()}
        matrices = {f: fit.matrix if is_found(fit) else matrices[f] for f, fit in fits.items()}
    kept = {f: fit for f, fit in fits.items() if is_found(fit)}
    if anchor not in kept:
        kept[anchor] = own
    return Agreed(even_frames(kept, outline, freedom))
