"""The patches of the reference that a shot's inserts, mattes and elements follow."""

from dataclasses import dataclass

from glimsum_jobs.matte_shapes import Point
from glimsum_jobs.mattes import ShapeMatte
from glimsum_jobs.shot import ShotJob


@dataclass(frozen=True)
class MarkedPatch:
    """What was marked of a patch.

    Attributes
    ----------
    marks : dict of int to tuple of Point
        By shot frame: the corners of its outline, or one point with a radius.
    radius_px : float or None
        How far about the point the patch reaches.
    same_places : bool
        Whether the points of all marks are the same places of the set; a matte's outlines are
        drawn anew.
    """

    marks: dict[int, tuple[Point, ...]]
    radius_px: float | None = None
    same_places: bool = True


def marked_patches(job: ShotJob) -> dict[str, MarkedPatch]:
    """Return the patches a recipe needs, by ``insert:NAME``, ``matte:NAME``, ``element:NAME``."""
    found: dict[str, MarkedPatch] = {}
    for step in job.steps:
        if step.insert is not None:
            marks = {mark.frame: mark.points for mark in job.inserts[step.insert].corners}
            found[f"insert:{step.insert}"] = MarkedPatch({f: tuple(p) for f, p in marks.items()})
        element = None if step.element is None else job.elements[step.element]
        if element is not None and element.followed is not None:
            patch = element.followed
            point: tuple[Point, ...] = ((patch.x, patch.y),)
            found[f"element:{step.element}"] = MarkedPatch({patch.frame: point}, patch.radius)
        for name in job.mattes_in(step):
            matte = job.mattes[name]
            if isinstance(matte, ShapeMatte) and matte.follow is not None:
                outlines = {key.frame: key.points for key in matte.shape}
                found[f"matte:{name}"] = MarkedPatch(outlines, same_places=False)
    return found
