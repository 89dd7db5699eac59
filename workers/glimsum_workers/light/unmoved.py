"""A pass before its matrix and its way to its place, which are done in one walk when it is laid."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.colour import find_space
from glimsum_jobs.passes import Pass
from glimsum_workers.engine.codes import Image, Picture, Plane
from glimsum_workers.engine.combine import cover
from glimsum_workers.engine.laying import Halves, count_unfinite, size_of
from glimsum_workers.engine.motion import Affine, Motion
from glimsum_workers.engine.resample.places import Place
from glimsum_workers.engine.resample.quick import Laid, Layer, lay_together, survey_quickly
from glimsum_workers.engine.resample.quick_field import lay_field_quickly
from glimsum_workers.engine.resample.resample import Field
from glimsum_workers.engine.resample.ring_limits import RingRule


@dataclass(frozen=True)
class Spoilt:
    """What was wrong with the samples of a pass.

    Attributes
    ----------
    clipped : bool array, (height, width), or None
        Pixels that were clipped in the file; None: such files have no top.
    replaced : int
        Samples that are not finite; they count as 0.
    mended : int
        Hot samples replaced.
    """

    clipped: NDArray[np.bool_] | None = None
    replaced: int = 0
    mended: int = 0


@dataclass(frozen=True)
class UnmovedLight:
    """A pass before matrix and resample.

    Attributes
    ----------
    source : Image or Halves
        R, G, B, linear: as stored, or decoded.
    before : float64 array, (3, 3)
        From there to the working space: exposure, white balance and level with it.
    place : Place, Field or None
        Where new samples lie in it; None: it stays where it is.
    rule : RingRule or None
        Where new samples are limited.
    spoilt : Spoilt
        What was wrong with its samples.
    """

    source: Image | Halves
    before: NDArray[np.float64]
    place: Place | Field | None
    rule: RingRule | None
    spoilt: Spoilt

    @classmethod
    def of(
        cls,
        source: Image | Halves,
        before: NDArray[np.float64],
        place: Place | Field | None,
        spoilt: Spoilt | None = None,
    ) -> "UnmovedLight":
        """Return a pass with what has to be found in its pixels first."""
        rule = None
        if place is not None:
            rule, unfinite = survey_quickly(source, before)
        else:
            unfinite = count_unfinite(source) if isinstance(source, tuple) else 0
        return cls(source, before, place, rule, spoilt or Spoilt(replaced=unfinite))

    @property
    def clipped(self) -> NDArray[np.bool_]:
        """Return which pixels were clipped in the file."""
        clipped = self.spoilt.clipped
        return np.zeros(size_of(self.source), np.bool_) if clipped is None else clipped

    def picture(self) -> Image:
        """Return the pass as light in the working space, in its place."""
        made = np.zeros((*size_of(self.source), 3), np.float32)
        self._add(made, None, None)
        return made

    def layer(self, matrix: NDArray[np.float64] | None, matte: Plane | None) -> Layer | None:
        """Return what is to be added, times gain and tint and matte; None if a field moves it."""
        if self.place is None or isinstance(self.place, Place):
            return Layer(self.source, self.before, matrix, matte, self.place, self.rule)
        return None

    def lay(self, ground: Picture, matrix: NDArray[np.float64], matte: Plane | None) -> None:
        """Add the pass, in its place, times gain and tint and matte, to `ground`.

        The same bits as `combine_step` with `plus` gives for its `picture`.
        """
        self._add(ground.rgb, matrix, matte)
        if ground.alpha is not None:
            cover(ground.alpha, matte)

    def _add(self, target: Image, matrix: NDArray[np.float64] | None, matte: Plane | None) -> None:
        if self.place is None or isinstance(self.place, Place):
            layer = Layer(self.source, self.before, matrix, matte, self.place, self.rule)
            lay_together([layer], target)
        else:
            laid = Laid(self.before, matrix, matte, added=True)
            lay_field_quickly(self.source, self.place, self.rule, target, laid)

    def sample(self, stride: int) -> NDArray[np.float32]:
        """Return its light in the working space from every `stride`-th row and column."""
        if isinstance(self.source, tuple):
            planes = [plane[::stride, ::stride] for plane in self.source]
            few = np.stack(planes, axis=2).astype(np.float32)
        else:
            few = self.source[::stride, ::stride]
        light = np.where(np.isfinite(few), few, np.float32(0))
        return np.asarray(light @ self.before.T.astype(np.float32), np.float32)


def is_stored_light(each: Pass) -> bool:
    """Return whether what the file of a pass stores is light already, and all of it is wanted."""
    return find_space(each.space).curve is None and each.crop is None and each.dark is None


def place_quickly(motion: Motion | Affine, size: tuple[int, int]) -> Place | None:
    """Return where new samples of `size` lie in a source of that size; None for a bold motion."""
    shift = np.array([motion.dx, motion.dy], np.float64)
    place = Place.of(motion.turn(), shift, size, size)
    return place if place.is_quick else None
