"""The elements of a shot on a frame: read, made light, placed, resampled once."""

from dataclasses import replace
from typing import Any

import numpy as np

from glimsum_jobs.errors import GlimsumError, LightError
from glimsum_jobs.frame_ranges import runs_of
from glimsum_jobs.measurements import Checked, Solved
from glimsum_jobs.problems import Place
from glimsum_jobs.shot import ShotJob
from glimsum_workers.engine.codes import Picture, Plane
from glimsum_workers.engine.elements.coverage import keep_out, light_of_element
from glimsum_workers.engine.elements.lay import lay_element
from glimsum_workers.engine.elements.placing import Matrix, placing_matrix
from glimsum_workers.engine.primaries import convert
from glimsum_workers.engine.spaces import matrix_between
from glimsum_workers.frames.roots import Roots
from glimsum_workers.steps.laid_pictures import LaidPictures


class ShotElements:
    """Makes the elements of a shot.

    Parameters
    ----------
    job : ShotJob
        Every path in it is ``root:path``.
    checked : Checked
        What the check found of the elements.
    roots : Roots
        Where this machine has the roots.

    Notes
    -----
    The light of the last picture of each element is kept: one that stands over several frames
    is decoded once.
    """

    def __init__(self, job: ShotJob, checked: Checked, roots: Roots) -> None:
        self._job = job
        self._files = LaidPictures(job, "element", job.elements, checked.elements, roots)
        self._light: dict[str, tuple[int, Picture]] = {}

    def close(self) -> None:
        """Close the sources; one that is asked for again is opened again."""
        self._light.clear()
        self._files.close()

    def on_frame(
        self,
        name: str,
        frame: int,
        solved: Solved,
        size: tuple[int, int],
        holdout: Plane | None = None,
    ) -> Picture | None:
        """Return an element as it lies in the reference picture.

        Parameters
        ----------
        name : str
            The element.
        frame : int
            Shot frame.
        solved : Solved
            Where what it follows was found.
        size : tuple of int
            (height, width) of the reference picture.
        holdout : Plane, optional
            Its holdout matte on this frame, 0..1, `size`.

        Returns
        -------
        Picture or None
            Premultiplied, scene-linear, in the working space. None: nothing of it is seen.

        Raises
        ------
        SourceError
            Its file can't be read.
        LightError
            What it follows is lost on this frame, or its place can't be.
        """
        element = self._job.elements[name]
        if not element.is_there(frame):
            return None
        matrix = self._matrix(name, frame, solved)
        try:
            laid = lay_element(
                self._picture(name, frame), matrix, size, softness_px=element.softness
            )
        except GlimsumError as error:
            error.place = error.place.filled(**self._files.place(name, frame))
            raise
        return laid if laid is None or holdout is None else keep_out(laid, holdout)

    def fingerprint(self, name: str, frame: int, solved: Solved) -> list[Any]:
        """Return all that changes the pixels of an element on a frame, but for its holdout."""
        element = self._job.elements[name]
        if not element.is_there(frame):
            return ["not there"]
        return [
            self._files.fingerprint(name, frame),
            element.space,
            element.range,
            element.alpha,
            self._matrix(name, frame, solved).tolist(),
            element.softness,
        ]

    def _picture(self, name: str, frame: int) -> Picture:
        """Return the light of an element in its own pixels, in the working space."""
        number = self._files.number(name, frame)
        kept = self._light.get(name)
        if kept is not None and kept[0] == number:
            return kept[1]
        element = self._job.elements[name]
        light = light_of_element(
            self._files.codes(name, frame),
            element.space,
            video_range=element.range,
            alpha=element.alpha,
        )
        matrix = matrix_between(element.space, self._job.space)
        picture = replace(light, rgb=np.ascontiguousarray(convert(light.rgb, matrix)))
        self._light[name] = (number, picture)
        return picture

    def _matrix(self, name: str, frame: int, solved: Solved) -> Matrix:
        """Return where the pixels of an element land on a frame."""
        element, found = self._job.elements[name], self._files.found(name)
        placing, pivot = element.placed(frame), element.pivot_of(found.width, found.height)
        placed = placing_matrix(placing.x, placing.y, placing.scale, placing.rotation, pivot)
        if element.follow is None:
            return placed
        moved = self._followed(name, frame, solved) @ placed
        return np.asarray(moved / moved[2, 2], np.float64)

    def _followed(self, name: str, frame: int, solved: Solved) -> Matrix:
        """Return where points of the frame an element is placed on go to."""
        patch = self._job.elements[name].followed
        follow = solved.follows.get(f"element:{name}")
        known = {} if follow is None else follow.frames
        meant = frame if patch is None or follow is None else patch.frame
        if frame not in known or meant not in known:
            lost = frame if frame not in known else meant
            raise LightError(
                f"the patch that element {name} follows was not found",
                place=Place(**self._files.place(name, frame)),
                seen=f"found on frames {runs_of(sorted(known))}" if known else "found nowhere",
                expected=f"a place on frame {lost}",
                remedy="Follow something that stays in sight, or end the element with frames.",
            )
        here, there = (
            np.asarray(known[each].matrix, np.float64).reshape(3, 3) for each in (frame, meant)
        )
        return np.asarray(here @ np.linalg.inv(there), np.float64)
