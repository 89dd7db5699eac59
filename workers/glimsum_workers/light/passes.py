"""One pass on one frame, from the file's codes to light in the working space.

The order is that of the light: codes, the camera's own primaries, dark, hot pixels, white
balance, exposure, ambient, level, matrix, and one resample that takes the drift out.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.measurements import Solved
from glimsum_jobs.problems import Problem
from glimsum_jobs.shot import ShotJob
from glimsum_workers.engine.ambient import subtract_ambient
from glimsum_workers.engine.codes import Image, Picture
from glimsum_workers.engine.exposure import multiply_channels
from glimsum_workers.engine.hot_pixels import clipped_share
from glimsum_workers.engine.laying import is_worth_it
from glimsum_workers.engine.motion import Affine, Motion
from glimsum_workers.engine.parallax.laying import lay_field
from glimsum_workers.engine.primaries import convert
from glimsum_workers.engine.resample.resample import Field, resample
from glimsum_workers.engine.resample.window import Window, covered_window
from glimsum_workers.engine.spaces import matrix_between
from glimsum_workers.footage.averages import Averages
from glimsum_workers.footage.material import Material
from glimsum_workers.footage.recorded import decode_pass, exposed, exposure_of, without_dark
from glimsum_workers.light.motions import has_parallax, motion_on
from glimsum_workers.light.takes import PlacedTake, join_takes, place_take
from glimsum_workers.light.unmoved import Spoilt, UnmovedLight, is_stored_light, place_quickly
from glimsum_workers.measuring.prepared_pictures import PreparedPictures


@dataclass(frozen=True)
class PassLight:
    """Light of one pass on one frame.

    Attributes
    ----------
    picture : Picture
        Scene-linear.
    clipped : bool array, (height, width)
        Pixels that were clipped in the file.
    replaced : int
        Samples that were not finite and are now 0.
    mended : int
        Hot samples replaced.
    remarks : tuple of Problem
        Takes that had to be left out.
    """

    picture: Picture
    clipped: NDArray[np.bool_]
    replaced: int
    mended: int = 0
    remarks: tuple[Problem, ...] = ()

    @property
    def clipped_share(self) -> float:
        """Return the share of pixels that were clipped in the file, 0..1."""
        return clipped_share(self.clipped)


class ShotLight:
    """Turns codes of a shot's passes into light.

    Parameters
    ----------
    job : ShotJob
        Its numbers are what is taken away and multiplied.
    material : Material
        Reads the codes.
    averages : Averages
        The averaged darks, ambients and backings.
    pictures : PreparedPictures
        Tell how near the places of the reference are, where a pass has parallax.
    """

    def __init__(
        self, job: ShotJob, material: Material, averages: Averages, pictures: PreparedPictures
    ) -> None:
        self._job = job
        self._material = material
        self._averages = averages
        self._pictures = pictures

    def equalised(self, name: str, frame: int) -> PassLight:
        """Return a pass without dark and hot pixels, white balanced, exposed like the unit.

        Still in the camera's own primaries, still with the ambient and the flicker.
        """
        each = self._job.passes[name]
        recorded = decode_pass(each, self._material.pass_codes(name, frame))
        dark, hot = self._averages.dark(each), self._averages.hot_pixels(each)
        rgb, mended = without_dark(each, recorded.picture.rgb, dark, hot)
        return PassLight(
            picture=Picture(exposed(self._job, name, rgb), recorded.picture.alpha),
            clipped=recorded.clipped,
            replaced=recorded.replaced,
            mended=mended,
        )

    def in_working_space(self, name: str, frame: int, solved: Solved) -> PassLight:
        """Return what a recipe combines: without ambient, steady, converted, in its place.

        `name` may be that of takes: each is brought to its place, then all are combined.
        """
        if name in self._job.takes:
            made = join_takes(
                self._job,
                self._material.checked,
                name,
                frame,
                lambda take: self._placed(take, frame, solved),
            )
            return PassLight(made.picture, made.clipped, made.replaced, made.mended, made.remarks)
        whole = self._in_one_walk(name, frame, solved)
        if whole is not None:
            told = whole.spoilt
            return PassLight(Picture(whole.picture()), whole.clipped, told.replaced, told.mended)
        light = self._steady(name, frame, solved)
        motion = self._motion(name, frame, solved)
        picture = light.picture if motion is None else resample(light.picture, motion).picture
        return PassLight(picture, light.clipped, light.replaced, light.mended)

    def in_one_walk(self, name: str, frame: int, solved: Solved) -> UnmovedLight | None:
        """Return a pass as its file holds it, to be brought to its place as it is laid.

        None where it needs more than a matrix and one resample. Laid, it gives the very bits of
        what `in_working_space` gives.
        """
        return self._in_one_walk(name, frame, solved)

    def _in_one_walk(self, name: str, frame: int, solved: Solved) -> UnmovedLight | None:
        each, whole = self._job.passes.get(name), self._material.checked.passes
        if each is None or each.ambient is not None or whole[name].alpha:
            return None
        reference = whole[self._job.reference_pass]
        size = reference.height, reference.width
        motion = self._motion(name, frame, solved) if is_worth_it(size) else None
        place = place_quickly(motion, size) if isinstance(motion, (Motion, Affine)) else motion
        if not is_worth_it(size) or (motion is not None and place is None):
            return None
        levels = solved.levels.get(name)
        gains = (1.0, 1.0, 1.0) if levels is None else levels.channels(frame)
        before = matrix_between(each.space, self._job.space) * (
            exposure_of(self._job, name) / np.asarray(gains)
        )
        hot = self._averages.hot_pixels(each)
        if hot is None and is_stored_light(each):
            halves = self._material.pass_halves(name, frame)
            if halves is not None and halves[0].shape == size:
                return UnmovedLight.of(halves, before, place)
        recorded = decode_pass(each, self._material.pass_codes(name, frame))
        if recorded.picture.rgb.shape[:2] != size or recorded.picture.alpha is not None:
            return None
        rgb, mended = without_dark(each, recorded.picture.rgb, self._averages.dark(each), hot)
        told = Spoilt(recorded.clipped, recorded.replaced, mended)
        return UnmovedLight.of(rgb, before, place, told)

    def _steady(self, name: str, frame: int, solved: Solved) -> PassLight:
        """Return a pass without ambient, steady and converted, where its camera stood."""
        light = self.equalised(name, frame)
        levels = solved.levels.get(name)
        gains = (1.0, 1.0, 1.0) if levels is None else levels.channels(frame)
        rgb = self.to_working_space(name, light.picture.rgb, frame, gains)
        picture = Picture(rgb, light.picture.alpha)
        return PassLight(picture, light.clipped, light.replaced, light.mended)

    def _placed(self, name: str, frame: int, solved: Solved) -> PlacedTake:
        light = self._steady(name, frame, solved)
        motion = self._motion(name, frame, solved)
        picture, spoilt = place_take(light.picture, light.clipped, motion)
        return PlacedTake(picture, spoilt, light.replaced, light.mended)

    def window(self, name: str, frame: int, solved: Solved, size: tuple[int, int]) -> Window:
        """Return what a pass covers of a picture of (height, width) when it is in its place."""
        motion = self._motion(name, frame, solved)
        return Window.whole(size) if motion is None else covered_window(motion, size)

    def _motion(self, name: str, frame: int, solved: Solved) -> Motion | Affine | Field | None:
        """Return what a pass is brought back by: by pixel where near and far moved apart."""
        motion = motion_on(solved, self._job, name, frame)
        if isinstance(motion, Motion) and has_parallax(motion):
            return lay_field(motion, self._pictures.nearness(frame))
        return motion

    def to_working_space(
        self, name: str, rgb: Image, frame: int, gains: tuple[float, float, float] = (1, 1, 1)
    ) -> Image:
        """Return an equalised picture of a pass without ambient, steady and converted.

        `gains` are those of the frame's red, green and blue against what they should be.
        """
        each = self._job.passes[name]
        if each.ambient is not None:
            theirs = self._job.passes[each.ambient].space
            matrix = None if theirs == each.space else matrix_between(theirs, each.space)
            rgb = subtract_ambient(rgb, self._averages.ambient(each.ambient, frame), matrix)
        if gains != (1, 1, 1):
            rgb = multiply_channels(rgb, (1 / np.asarray(gains)).astype(np.float32))
        return convert(rgb, matrix_between(each.space, self._job.space))
