"""The light of passes in their place, kept on disk: other gains then cost a read."""

import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.kept_room import light_bytes
from glimsum_jobs.measurements import Checked, Solved
from glimsum_jobs.shot import ShotJob
from glimsum_workers.engine.codes import Picture
from glimsum_workers.footage.averages import Averages
from glimsum_workers.footage.digests import digest_of
from glimsum_workers.footage.material import Material
from glimsum_workers.frames.kept_light import LightStore
from glimsum_workers.light.fingerprint import PIXEL_EPOCH, LightFingerprints
from glimsum_workers.light.passes import PassLight, ShotLight
from glimsum_workers.light.unmoved import UnmovedLight
from glimsum_workers.measuring.prepared_pictures import PreparedPictures

LIGHT = "light"
"""Folder of kept light inside the folder of what is kept of a shot."""


@dataclass(frozen=True)
class LightRoom:
    """How much of a disk kept light may take.

    Attributes
    ----------
    budget_bytes : int
        For each shot; 0: none is kept.
    reserve_bytes : int
        Left free on the disk.
    """

    budget_bytes: int
    reserve_bytes: int


def open_light_store(
    job: ShotJob, checked: Checked, kept: Path, room: LightRoom, *, version: int
) -> LightStore | None:
    """Return where the light of a shot's passes is kept, as its job wants it.

    Parameters
    ----------
    job : ShotJob
        ``keep: aligned`` keeps as much as the budget holds, from the first version on; ``auto``
        all or nothing, from the second version on, since only who changed gains once is likely
        to change them again; ``none`` neither keeps nor reads.
    checked : Checked
        Says how large the passes are.
    kept : Path
        Folder of what is kept of the shot; it exists.
    room : LightRoom
        What this machine allows.
    version : int
        Of the shot, from 1.

    Returns
    -------
    LightStore or None
        One that may only be read where there is no room for more.
    """
    if job.keep == "none":
        return None
    folder, needed = kept / LIGHT, light_bytes(job, checked)
    free = shutil.disk_usage(kept).free
    fits = needed <= min(room.budget_bytes, free - room.reserve_bytes)
    wanted = job.keep == "aligned" or (version > 1 and fits)
    return LightStore(folder, room.budget_bytes if wanted else 0, room.reserve_bytes)


class KeptLight(ShotLight):
    """Light of a shot's passes that is made once and then read.

    It is kept as the 32-bit floats it is: pixels never depend on whether it was kept.

    Parameters
    ----------
    job : ShotJob
        Its numbers are what is taken away and multiplied.
    material : Material
        Reads the codes.
    averages : Averages
        The averaged darks, ambients and backings.
    pictures : PreparedPictures
        Tell how near the places of the reference are.
    digests : LightFingerprints
        Name what is kept: another file, number or place has another name.
    store : LightStore
        Where it is kept.
    """

    def __init__(  # noqa: PLR0917  # as `ShotLight`, and where it is kept
        self,
        job: ShotJob,
        material: Material,
        averages: Averages,
        pictures: PreparedPictures,
        digests: LightFingerprints,
        store: LightStore,
    ) -> None:
        super().__init__(job, material, averages, pictures)
        self._space = job.space
        self._digests = digests
        self._store = store

    def in_working_space(self, name: str, frame: int, solved: Solved) -> PassLight:
        """Return what `ShotLight.in_working_space` does, read where it was kept."""
        key = self._key(name, frame, solved)
        kept = self._store.get(key)
        if kept is not None:
            return _as_light(kept)
        light = super().in_working_space(name, frame, solved)
        if (
            self._store.keeps and not light.remarks
        ):  # a take was left out: its file may be whole next time
            self._store.put(key, _as_arrays(light))
        return light

    def in_one_walk(self, name: str, frame: int, solved: Solved) -> UnmovedLight | None:
        """Return None for what is kept or to be kept: that is read, or made whole first."""
        if self._store.keeps or self._store.holds(self._key(name, frame, solved)):
            return None
        return super().in_one_walk(name, frame, solved)

    def _key(self, name: str, frame: int, solved: Solved) -> str:
        light = self._digests.of_light(name, frame, solved)
        return digest_of("light", PIXEL_EPOCH, self._space, light)


def _as_arrays(light: PassLight) -> dict[str, NDArray[Any]]:
    alpha = {} if light.picture.alpha is None else {"alpha": light.picture.alpha}
    return {
        "rgb": light.picture.rgb,
        **alpha,
        "clipped": np.packbits(light.clipped),
        "size": np.asarray(light.clipped.shape, np.int64),
        "counts": np.asarray([light.replaced, light.mended], np.int64),
    }


def _as_light(kept: dict[str, NDArray[Any]]) -> PassLight:
    height, width = (int(side) for side in kept["size"])
    clipped = np.unpackbits(kept["clipped"], count=height * width).reshape(height, width)
    replaced, mended = (int(count) for count in kept["counts"])
    picture = Picture(kept["rgb"], kept.get("alpha"))
    return PassLight(picture, clipped.view(np.bool_), replaced, mended)
