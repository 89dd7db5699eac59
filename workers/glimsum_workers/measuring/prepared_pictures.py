"""Pictures of a shot ready to be registered, and how near what they show is; each made once."""

from glimsum_jobs.passes import Pass
from glimsum_jobs.plan import dead_frames
from glimsum_jobs.shot import ShotJob
from glimsum_workers.engine.codes import Plane
from glimsum_workers.engine.nearness import Nearness
from glimsum_workers.engine.parallax.find_nearness import find_nearness
from glimsum_workers.engine.registration.bands import ACROSS_LIGHTS, GENERAL, Band, Mask
from glimsum_workers.engine.registration.prepared import Prepared, prepare_both
from glimsum_workers.footage.digests import digest_of
from glimsum_workers.footage.material import Material
from glimsum_workers.footage.recorded import decode_plane
from glimsum_workers.frames.kept import Keep
from glimsum_workers.measuring.kept_pictures import (
    as_arrays,
    as_nearness,
    as_prepared,
    nearness_arrays,
)

PICTURE_EPOCH = 6
"""Raised whenever the same files give other prepared pictures or other registrations."""

NEARNESS_EPOCH = 1
"""Raised whenever the same prepared pictures give another nearness."""


class PreparedPictures:
    """Prepares pictures of a shot and keeps them; made again from the files where they are gone.

    Parameters
    ----------
    job : ShotJob
        The shot.
    material : Material
        Reads the codes.
    keep : Keep
        Where they are kept.
    """

    def __init__(self, job: ShotJob, material: Material, keep: Keep) -> None:
        self._job = job
        self._material = material
        self._keep = keep
        self._decoded: tuple[str, Plane, Mask] | None = None

    def key(self, name: str, frame: int | None, band: Band = GENERAL) -> str:
        """Return the digest of what a prepared picture depends on.

        Parameters
        ----------
        name : str
            The pass.
        frame : int or None
            Shot frame; the alignment frame of the pass where None.
        band : Band
            Which detail of it.
        """
        each = self._decoded_as(name, frame)
        return digest_of(
            "prepared",
            PICTURE_EPOCH,
            band.last_box,
            self._material.alignment_fingerprint(name)
            if frame is None
            else self._material.pass_fingerprint(name, frame),
            each.space,
            each.range,
            each.crop and each.crop.model_dump(),
        )

    def get(self, name: str, frame: int | None, band: Band = GENERAL) -> Prepared:
        """Return a prepared picture (see `key`); SourceError where its file can't be read."""
        key = self.key(name, frame, band)
        kept = self._keep.get(key)
        if kept is None:
            plane, clipped = self._decode(name, frame)
            other = ACROSS_LIGHTS if band == GENERAL else GENERAL
            both = (band, other) if self._is_held_both_ways(name, frame, band) else (band,)
            ready, *others = prepare_both(plane, both, clipped=clipped)
            kept = as_arrays(ready)
            self._keep.put(key, **kept)
            for each in others:
                self._keep.put(self.key(name, frame, other), **as_arrays(each))
        return as_prepared(kept)

    def _decode(self, name: str, frame: int | None) -> tuple[Plane, Mask]:
        """Return the light of a picture and what is clipped of it.

        The last one stays at hand: its other detail is often asked for next.
        """
        material, shown, last = self._material, self.key(name, frame), self._decoded
        if last is not None and last[0] == shown:
            return last[1:]
        self._decoded = last = None  # so that two pictures are never held at once
        codes = (
            material.alignment_codes(name) if frame is None else material.pass_codes(name, frame)
        )
        plane, clipped = decode_plane(self._decoded_as(name, frame), codes)
        self._decoded = shown, plane, clipped
        return plane, clipped

    def _is_held_both_ways(self, name: str, frame: int | None, band: Band) -> bool:
        """Return whether a picture is held against the reference and its own pass in any case.

        Then all of its detail is prepared at once. Before a camera that moves one that is held
        against its own pass is held against the reference too, though not the other way round.
        """
        job = self._job
        if name == job.reference_pass or frame is None:
            return False
        return job.camera == "locked" or (band == GENERAL and job.passes[name].align != "field")

    def nearness_key(self, frame: int) -> str:
        """Return the digest of what the nearness of the reference's frame depends on."""
        shown = (frame, *self._beside(frame))
        reference = self._job.reference_pass
        keys = [None if each is None else self.key(reference, each) for each in shown]
        return digest_of("nearness", NEARNESS_EPOCH, keys)

    def nearness(self, frame: int) -> Nearness:
        """Return how near the places of the reference are on a frame.

        It is found from the frames before and after, as far as the shot has them.

        Raises
        ------
        SourceError
            A file can't be read.
        """
        key, reference = self.nearness_key(frame), self._job.reference_pass
        kept = self._keep.get(key)
        if kept is None:
            after, before = (
                None if each is None else self.get(reference, each) for each in self._beside(frame)
            )
            kept = nearness_arrays(find_nearness(self.get(reference, frame), after, before))
            self._keep.put(key, **kept)
        return as_nearness(kept)

    def _beside(self, frame: int) -> tuple[int | None, int | None]:
        """Return the frame after and the one before, None where it is dead or not of the shot."""
        numbers, dead = self._job.frames.numbers, dead_frames(self._material.checked)
        after, before = (
            each if each in numbers and each not in dead else None
            for each in (frame + 1, frame - 1)
        )
        return after, before

    def _decoded_as(self, name: str, frame: int | None) -> Pass:
        """Return what the numbers of a frame, or of the alignment frame, mean."""
        each = self._job.passes[name]
        return (each.alignment_picture or each) if frame is None else each
