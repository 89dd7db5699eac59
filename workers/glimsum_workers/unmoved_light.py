"""A pass as its file holds it, and all that has to be done to it, done in one walk when laid."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.colour import find_space
from glimsum_jobs.passes import Pass
from glimsum_workers.engine.codes import Image, Picture, Plane
from glimsum_workers.engine.combine import cover
from glimsum_workers.engine.laying import Halves, add_still, count_unfinite, is_worth_it, size_of
from glimsum_workers.engine.motion import Affine, Motion
from glimsum_workers.engine.resample.quick import Laid, Place, lay_quickly, survey_quickly
from glimsum_workers.engine.resample.ring_limits import RingRule
from glimsum_workers.material import Material


@dataclass(frozen=True)
class UnmovedLight:
    """A pass before matrix and resample.

    Attributes
    ----------
    planes : Halves
        R, G, B as stored, linear.
    before : float64 array, (3, 3)
        From there to the working space: exposure, white balance and level with it.
    place : Place or None
        Where new samples lie in it; None: it stays where it is.
    rule : RingRule or None
        Where new samples are limited.
    replaced : int
        Samples that are not finite; they count as 0.
    """

    planes: Halves
    before: NDArray[np.float64]
    place: Place | None
    rule: RingRule | None
    replaced: int

    def picture(self) -> Image:
        """Return the pass as light in the working space, in its place."""
        made = np.zeros((*size_of(self.planes), 3), np.float32)
        self._add(made, None, None)
        return made

    def lay(self, ground: Picture, matrix: NDArray[np.float64], matte: Plane | None) -> None:
        """Add the pass, in its place, times gain and tint and matte, to `ground`.

        The same bits as `combine_step` with `plus` gives for its `picture`.
        """
        self._add(ground.rgb, matrix, matte)
        if ground.alpha is not None:
            cover(ground.alpha, matte)

    def _add(self, target: Image, matrix: NDArray[np.float64] | None, matte: Plane | None) -> None:
        if self.place is None:
            add_still(self.planes, target, before=self.before, after=matrix, matte=matte)
            return
        laid = Laid(self.before, matrix, matte, added=True)
        lay_quickly(self.planes, self.place, self.rule, target, laid)

    def sample(self, stride: int) -> NDArray[np.float32]:
        """Return its light in the working space from every `stride`-th row and column."""
        few = np.stack([plane[::stride, ::stride] for plane in self.planes], axis=2)
        light = np.where(np.isfinite(few), few, 0).astype(np.float32)
        return np.asarray(light @ self.before.T.astype(np.float32), np.float32)


def is_plain(each: Pass) -> bool:
    """Return whether a pass of linear floats needs no more than gains and a matrix."""
    return (
        find_space(each.space).curve is None
        and each.crop is None
        and each.dark is None
        and each.ambient is None
    )


def take_unmoved(
    material: Material,
    shown: tuple[str, int],
    before: NDArray[np.float64],
    motion: Motion | Affine | None,
    size: tuple[int, int],
) -> UnmovedLight | None:
    """Read a pass on a frame for a ground of `size`; None where it can't be laid in one walk."""
    place = None
    if motion is not None:
        shift = np.array([motion.dx, motion.dy], np.float64)
        place = Place.of(motion.turn(), shift, size, size)
        if not place.is_quick:
            return None
    planes = material.pass_halves(*shown) if is_worth_it(size) else None
    if planes is None or planes[0].shape != size:
        return None
    if place is None:
        return UnmovedLight(planes, before, None, None, count_unfinite(planes))
    return UnmovedLight(planes, before, place, *survey_quickly(planes, before))
