"""The inserts of a shot on a frame: read, made light, laid on their corners, given grain."""

from copy import copy
from dataclasses import replace
from typing import Any

import numpy as np

from glimsum_jobs.errors import GlimsumError, LightError
from glimsum_jobs.follows import FollowedFrame
from glimsum_jobs.measurements import Checked, Solved
from glimsum_jobs.problems import Place
from glimsum_jobs.shot import ShotJob
from glimsum_workers.engine.codes import Picture, Plane
from glimsum_workers.engine.elements.coverage import keep_out, light_of_element
from glimsum_workers.engine.inserts.grain import add_grain
from glimsum_workers.engine.inserts.warp import warp_insert
from glimsum_workers.engine.planar.homography import Points, carry
from glimsum_workers.engine.primaries import convert
from glimsum_workers.engine.spaces import matrix_between
from glimsum_workers.engine.tint import tint_matrix
from glimsum_workers.footage.digests import digest_of
from glimsum_workers.frames.roots import Roots
from glimsum_workers.light.passes import ShotLight
from glimsum_workers.steps.laid_pictures import LaidPictures
from glimsum_workers.steps.plate_grain import PlateGrain

SCREEN_KELVIN = 6504.0
"""White of a display (D65): what the tint of an insert starts from."""


class ShotInserts:
    """Makes the screen inserts of a shot.

    Parameters
    ----------
    job : ShotJob
        Every path in it is ``root:path``.
    checked : Checked
        What the check found of the inserts.
    roots : Roots
        Where this machine has the roots.
    light : ShotLight
        Gives the passes whose grain is matched.
    """

    def __init__(self, job: ShotJob, checked: Checked, roots: Roots, light: ShotLight) -> None:
        self._job = job
        self._files = LaidPictures(job, "insert", job.inserts, checked.inserts, roots)
        self._plate = PlateGrain(job, checked, light)

    def with_gains_of(self, job: ShotJob) -> "ShotInserts":
        """Return the same inserts over steps with other gains; closed with these."""
        other = copy(self)
        other._job = job  # noqa: SLF001  # a copy of this very object
        other._plate = self._plate.with_gains_of(job)  # noqa: SLF001  # the same
        return other

    def close(self) -> None:
        """Close the sources; one that is asked for again is opened again."""
        self._files.close()

    def on_frame(
        self,
        name: str,
        frame: int,
        solved: Solved,
        size: tuple[int, int],
        holdout: Plane | None = None,
    ) -> Picture:
        """Return an insert as it lies in the reference picture.

        Parameters
        ----------
        name : str
            The insert.
        frame : int
            Shot frame.
        solved : Solved
            Where its corners were followed to.
        size : tuple of int
            (height, width) of the reference picture.
        holdout : Plane, optional
            Its holdout matte on this frame, 0..1, `size`.

        Returns
        -------
        Picture
            Premultiplied, scene-linear, in the working space; its own gain, tint, softness and
            grain in it.

        Raises
        ------
        SourceError
            Its file can't be read.
        LightError
            Its corners are lost on this frame, or make no surface.
        """
        insert, corners = self._job.inserts[name], self.corners(name, frame, solved)
        try:
            laid = warp_insert(
                self._picture(name, frame), corners, size, softness_px=insert.softness
            )
        except GlimsumError as error:
            error.place = error.place.filled(**self._files.place(name, frame))
            raise
        if insert.grain_amount:
            grain = self._plate.under(name, frame, solved)
            seed = int(digest_of("grain", self._job.shot, name, frame)[:16], 16)
            laid = add_grain(laid, grain, insert.grain_amount, [seed])
        return laid if holdout is None else keep_out(laid, holdout)

    def corners(self, name: str, frame: int, solved: Solved) -> Points:
        """Return where the four corners of an insert lie on a frame; LightError where lost."""
        follow = solved.follows.get(f"insert:{name}")
        followed = None if follow is None else follow.frames.get(frame)
        if follow is None or followed is None or not followed.trusted:
            raise LightError(
                f"the corners of insert {name} are not known on this frame",
                place=Place(**self._files.place(name, frame)),
                seen=_seen(followed),
                expected="corners known to 0.3 px",
                remedy=f"Mark the corners on frame {frame} too, or mark a surface with detail.",
            )
        marks = {mark.frame: mark.points for mark in self._job.inserts[name].corners}
        points = np.asarray(marks[follow.anchor], dtype=np.float64)
        return carry(np.asarray(followed.matrix, np.float64).reshape(3, 3), points)

    def fingerprint(self, name: str, frame: int, solved: Solved) -> list[Any]:
        """Return all that changes the pixels of an insert on a frame, but for its holdout."""
        insert = self._job.inserts[name]
        return [
            self._files.fingerprint(name, frame),
            insert.space,
            insert.range,
            insert.alpha,
            self.corners(name, frame, solved).tolist(),
            insert.stops,
            insert.tint_mired,
            insert.softness,
            insert.grain_amount,
            self._plate.fingerprint(name, frame, solved) if insert.grain_amount else None,
        ]

    def _picture(self, name: str, frame: int) -> Picture:
        """Return the light of an insert in its own pixels, in the working space."""
        insert = self._job.inserts[name]
        light = light_of_element(
            self._files.codes(name, frame),
            insert.space,
            video_range=insert.range,
            alpha=insert.alpha,
        )
        tint = tint_matrix(insert.tint_mired, lamp_kelvin=SCREEN_KELVIN, space=self._job.space)
        into = matrix_between(insert.space, self._job.space)
        matrix = 2.0**insert.stops * tint @ into
        return replace(light, rgb=np.ascontiguousarray(convert(light.rgb, matrix)))


def _seen(followed: FollowedFrame | None) -> str:
    if followed is None:
        return "not followed: see the remarks on measuring"
    why = followed.reason or "the patch was followed, but not well enough"
    return f"{why}; known to {followed.sigma_px:.2f} px"
