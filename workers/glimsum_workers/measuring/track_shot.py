"""Where a pass lies on one frame, measured against the reference and against itself."""

import numpy as np

from glimsum_jobs.plan import best_frame, dead_frames, hold_frame, is_looked_at
from glimsum_jobs.shot import ShotJob
from glimsum_jobs.tracks import Aligned, Registered, Tracked
from glimsum_workers.engine.motion import STILL, Registration
from glimsum_workers.engine.nearness import Nearness
from glimsum_workers.engine.registration.bands import band_for
from glimsum_workers.engine.registration.models import Model
from glimsum_workers.engine.registration.prepared import SMALLEST
from glimsum_workers.engine.registration.register import register
from glimsum_workers.footage.digests import digest_of
from glimsum_workers.footage.material import Material
from glimsum_workers.frames.kept import Keep
from glimsum_workers.measuring.kept_pictures import as_registered
from glimsum_workers.measuring.prepared_pictures import PICTURE_EPOCH, PreparedPictures

Shown = tuple[str, int | None]
"""A pass and a frame of it; its alignment frame where the frame is None."""

UNSURE_PX = 0.15
"""A frame known worse than this against the reference is also held against its neighbour."""

_STANDS = "the camera is locked: only a move of the reference tells near from far"


class Tracker:
    """Registers frames of one shot; prepares every picture once and keeps it.

    Parameters
    ----------
    job : ShotJob
        The shot.
    material : Material
        Reads the codes.
    keep : Keep
        Where prepared pictures and what registering them told are kept.
    """

    def __init__(self, job: ShotJob, material: Material, keep: Keep) -> None:
        self._job = job
        self._material = material
        self._keep = keep
        self._pictures = PreparedPictures(job, material, keep)

    def track(self, name: str, frame: int) -> Tracked:
        """Register a pass on a frame.

        Parameters
        ----------
        name : str
            The pass; of the reference only its own motion is measured.
        frame : int
            Shot frame.

        Returns
        -------
        Tracked
            Across the light, and inside the pass where its light is the same.

        Raises
        ------
        SourceError
            A file can't be read.
        """
        job, checked = self._job, self._material.checked
        reference = job.reference_pass
        model = self._model(name)
        cross: Registered | None = None
        own: Registered | None = None
        flat = ""
        if job.camera == "locked":
            if name != reference:
                hold = (reference, hold_frame(job, checked))
                cross = self._registered(hold, (name, frame), model)
                flat = _STANDS if model == "field" else ""
            best = (name, best_frame(job, checked, name))
            own = self._registered(best, (name, frame), model, same_light=True)
        else:
            if name != reference:
                cross, flat = self._across(name, frame, model)
            unsure = cross is None or not cross.trusted or (cross.sigma_px or 0) > UNSURE_PX
            if unsure and self._goes_on(name, frame):
                following = (name, frame + 1)
                own = self._registered((name, frame), following, model, same_light=True)
        return Tracked(pass_name=name, frame=frame, cross=cross, own=own, no_parallax=flat)

    def align(self, name: str) -> Aligned:
        """Register the alignment frame of a pass, both pictures in the reference light.

        Raises
        ------
        SourceError
            The pass has no alignment frame, or a file can't be read.
        """
        job = self._job
        frame = job.alignment_number(name) or job.frames.first
        on = hold_frame(job, self._material.checked) if job.camera == "locked" else frame
        model = self._model(name)
        found = self._registered((job.reference_pass, on), (name, None), model, same_light=True)
        if model == "field" and job.camera == "moving" and not self._is_too_small(name):
            near = self._pictures.nearness(frame)
            shown = (job.reference_pass, on), (name, None)
            found = self._registered(*shown, model, same_light=True, nearness=near)
        return Aligned(pass_name=name, frame=frame, found=found)

    def _across(self, name: str, frame: int, model: Model) -> tuple[Registered, str]:
        """Register a pass against the same frame of the reference.

        Returns what was found, and why parallax wasn't sought where it was asked for.
        """
        shown = (self._job.reference_pass, frame), (name, frame)
        if model != "field" or self._is_too_small(name):
            return self._registered(*shown, model), ""
        near = self._pictures.nearness(frame)
        return self._registered(*shown, model, nearness=near), near.reason

    def _model(self, name: str) -> Model:
        align = self._job.passes[name].align
        return "similarity" if align == "none" else align

    def _is_too_small(self, name: str) -> bool:
        size = self._material.checked.passes[name]
        return size.height < SMALLEST[0] or size.width < SMALLEST[1]

    def _goes_on(self, name: str, frame: int) -> bool:
        """Return whether the pass is used on the next frame too, and has a file for it."""
        job = self._job
        following = frame + 1 <= job.frames.last and is_looked_at(job, name, frame + 1)
        return following and frame + 1 not in dead_frames(self._material.checked)

    def _registered(
        self,
        reference: Shown,
        moving: Shown,
        model: Model,
        *,
        same_light: bool = False,
        nearness: Nearness | None = None,
    ) -> Registered:
        if nearness is None or nearness.reason:
            model, nearness = "similarity" if model == "field" else model, None
        band = band_for(same_light=same_light, parallax=nearness is not None)
        key = digest_of(
            "registered",
            PICTURE_EPOCH,
            self._pictures.key(*reference, band),
            self._pictures.key(*moving, band),
            model,
            same_light,
            *([] if nearness is None else [self._pictures.nearness_key(reference[1] or 0)]),
        )
        kept = self._keep.get(key)
        if kept is not None:
            return Registered.model_validate_json(str(kept["told"]))
        if self._is_too_small(reference[0]):
            size = self._material.checked.passes[reference[0]]
            return _too_small(size.width, size.height)
        if reference == moving:
            none = np.zeros((0, 5), np.float32)
            found = Registration(STILL, 0.0, 0.0, trusted=True, alarm=0.0, tiles=none)
        else:
            found = register(
                self._pictures.get(*reference, band),
                self._pictures.get(*moving, band),
                model=model,
                same_light=same_light,
                nearness=nearness,
            )
        told = as_registered(found, None if nearness is None else nearness.travel_px)
        self._keep.put(key, told=np.asarray(told.model_dump_json()), tiles=found.tiles)
        return told


def _too_small(width: int, height: int) -> Registered:
    return Registered(
        dx=0.0,
        dy=0.0,
        rotation_deg=0.0,
        scale=1.0,
        sigma_px=None,
        corner_sigma_px=None,
        trusted=False,
        alarm=0.0,
        reason=f"the picture is too small: {width} x {height} pixels, "
        f"{SMALLEST[1]} x {SMALLEST[0]} at least",
    )
