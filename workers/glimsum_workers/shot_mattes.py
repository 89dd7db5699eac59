"""The mattes of a shot on a frame, from files of their own or from a silhouette pass."""

import numpy as np

from glimsum_jobs.mattes import BackingMatte, PictureMatte
from glimsum_jobs.measurements import Solved
from glimsum_jobs.shot import ShotJob
from glimsum_workers.averages import Averages
from glimsum_workers.engine.codes import Image, Plane
from glimsum_workers.engine.encodings import decode
from glimsum_workers.engine.mattes import Matte, matte_from_backing, matte_from_picture
from glimsum_workers.material import Material
from glimsum_workers.pass_light import ShotLight
from glimsum_workers.recorded import exposed, without_dark


class ShotMattes:
    """Makes the mattes of a shot.

    Parameters
    ----------
    job : ShotJob
        Says what a matte is made of.
    material : Material
        Reads picture mattes.
    light : ShotLight
        Gives the silhouette as light.
    averages : Averages
        Gives the averaged backing.
    """

    def __init__(
        self, job: ShotJob, material: Material, light: ShotLight, averages: Averages
    ) -> None:
        self._job = job
        self._material = material
        self._light = light
        self._averages = averages

    def on_frame(self, name: str, frame: int, solved: Solved) -> Plane:
        """Return the weights of a matte, float32 (height, width), 0..1."""
        matte = self._job.mattes[name]
        if isinstance(matte, PictureMatte):
            decoded = decode(
                self._material.matte_codes(name, frame), "data", video_range=matte.range
            )
            has_alpha = decoded.picture.alpha is not None
            made = matte_from_picture(decoded.picture, "alpha" if has_alpha else "luminance")
        else:
            made = self._from_backing(matte, frame, solved)
        return np.float32(1) - made.weight if matte.invert else made.weight

    def _from_backing(self, matte: BackingMatte, frame: int, solved: Solved) -> Matte:
        silhouette = self._light.in_working_space(matte.pass_name, frame, solved)
        return matte_from_backing(silhouette.picture.rgb, self._backing(matte, frame))

    def _backing(self, matte: BackingMatte, frame: int) -> Image:
        """Return the lit backing alone, in the working space, without dark and ambient."""
        if isinstance(matte.empty, str):
            name = matte.empty
            rgb = self._averages.average(name)
        else:
            name = matte.pass_name
            each = self._job.passes[name]
            flat = np.empty_like(self._light.equalised(name, frame).picture.rgb)
            flat[...] = np.asarray(matte.empty.level, dtype=np.float32)
            rgb, _ = without_dark(each, flat, self._averages.dark(each), None)
            rgb = exposed(self._job, name, rgb)
        return self._light.to_working_space(name, rgb, frame)
