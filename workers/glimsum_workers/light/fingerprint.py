"""What the light of a pass in its place depends on: files, numbers, what is taken away, drift."""

from typing import Any

from glimsum_jobs.measurements import Solved
from glimsum_jobs.shot import ShotJob
from glimsum_workers.engine.motion import Affine, Motion
from glimsum_workers.footage.averages import Averages
from glimsum_workers.footage.material import Material
from glimsum_workers.footage.recorded import stops_of
from glimsum_workers.light.motions import has_parallax, motion_numbers, motion_on
from glimsum_workers.light.takes import takes_on
from glimsum_workers.measuring.prepared_pictures import PreparedPictures

PIXEL_EPOCH = 4
"""Raised only when the same job and files give other pixels."""


class LightFingerprints:
    """Tells by plain JSON values what makes the light of a shot's passes what it is.

    Parameters
    ----------
    job : ShotJob
        Its numbers are what is taken away and multiplied.
    material : Material
        Knows the digests of the files.
    averages : Averages
        Know those of darks and ambients.
    pictures : PreparedPictures
        Know that of how near places are, where a pass has parallax.
    """

    def __init__(
        self, job: ShotJob, material: Material, averages: Averages, pictures: PreparedPictures
    ) -> None:
        self._job = job
        self._material = material
        self._averages = averages
        self._pictures = pictures

    def of_light(self, name: str, frame: int, solved: Solved) -> list[Any]:
        """Return everything that changes the light of a pass or of takes on a frame.

        Raises
        ------
        SourceError
            A file can't be read.
        """
        if name not in self._job.takes:
            return self.of_pass(name, frame, solved)
        takes = self._job.takes[name]
        used = takes_on(self._job, self._material.checked, name, frame)
        return [takes.combine, takes.sigma, [self.of_pass(take, frame, solved) for take in used]]

    def of_pass(self, name: str, frame: int, solved: Solved) -> list[Any]:
        """Return everything that changes the light of one pass on a frame."""
        each, job = self._job.passes[name], self._job
        levels = solved.levels.get(name)
        motion = motion_on(solved, job, name, frame)
        return [
            self._material.pass_fingerprint(name, frame),
            each.space,
            each.range,
            None if each.crop is None else each.crop.model_dump(),
            self._averages.dark_key(each),
            None if each.white_balance is None else each.white_balance.gains,
            stops_of(job, name),
            None if each.ambient is None else self._averages.ambient_key(each.ambient, frame),
            None if levels is None else levels.gains.get(frame, 1.0),
            *([levels.colours[frame]] if levels is not None and frame in levels.colours else []),
            None if motion is None else self._placed(motion, frame),
        ]

    def _placed(self, motion: Motion | Affine, frame: int) -> list[object]:
        numbers = motion_numbers(motion)
        if not has_parallax(motion):
            return numbers
        return [*numbers, self._pictures.nearness_key(frame)]
