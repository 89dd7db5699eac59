"""A marked patch followed through the reference pass of a shot."""

from functools import lru_cache

import numpy as np

from glimsum_jobs.errors import GlimsumError
from glimsum_jobs.follows import Follow, Followed, FollowedFrame, MarkGap
from glimsum_jobs.patches import marked_patches
from glimsum_jobs.plan import dead_frames
from glimsum_jobs.problems import Place
from glimsum_jobs.shot import ShotJob
from glimsum_workers.engine.planar.follow_patch import follow_patch
from glimsum_workers.engine.planar.homography import Matrix
from glimsum_workers.engine.planar.sights import FollowedPatch
from glimsum_workers.engine.registration.prepared import Prepared
from glimsum_workers.footage.digests import digest_of
from glimsum_workers.footage.material import Material
from glimsum_workers.frames.kept import Keep
from glimsum_workers.measuring.prepared_pictures import PreparedPictures

FOLLOW_EPOCH = 1
"""Raised whenever following the same patch through the same pictures gives other numbers."""

_HELD = 6
"""Prepared pictures held at once; marked frames are asked for again and again."""


def follow_marked(job: ShotJob, patch: str, material: Material, keep: Keep) -> Followed:
    """Follow a patch through the reference, frame by frame and then all frames together.

    Parameters
    ----------
    job : ShotJob
        The shot.
    patch : str
        ``insert:NAME``, ``matte:NAME`` or ``element:NAME`` of `marked_patches`.
    material : Material
        Reads the reference.
    keep : Keep
        Where prepared pictures are kept, and what following told: it is told again where neither
        marks nor files have changed.

    Returns
    -------
    Followed

    Raises
    ------
    SourceError
        A file can't be read.
    LightError
        The patch is flat, or no other frame shows it; names where it is marked.
    """
    marked, pictures = marked_patches(job)[patch], PreparedPictures(job, material, keep)
    marks = {f: points for f, points in marked.marks.items() if f in job.frames.numbers}
    dead, reference = dead_frames(material.checked), job.reference_pass
    alive = [frame for frame in job.frames.numbers if frame not in dead]
    key = digest_of(
        "followed",
        FOLLOW_EPOCH,
        [[frame, pictures.key(reference, frame)] for frame in alive],
        list(job.frames.numbers),
        sorted(marks.items()),
        marked.radius_px,
        marked.same_places,
    )
    kept = keep.get(key)
    if kept is not None:
        told = Followed.model_validate_json(str(kept["told"]))
        return told.model_copy(update={"patch": patch})

    @lru_cache(maxsize=_HELD)
    def picture(frame: int) -> Prepared | None:
        return None if frame in dead else pictures.get(reference, frame)

    try:
        found = follow_patch(
            picture,
            list(job.frames.numbers),
            {frame: np.asarray(points, np.float64) for frame, points in marks.items()},
            radius_px=marked.radius_px,
            same_places=marked.same_places,
        )
    except GlimsumError as error:
        kind, _, name = patch.partition(":")
        error.place = error.place.filled(
            **Place(shot=job.shot, pass_name=reference, field=f"{kind}s.{name}").model_dump(
                exclude_none=True
            )
        )
        raise
    told = _told(patch, found)
    keep.put(key, told=np.asarray(told.model_dump_json()))
    return told


def _told(patch: str, found: FollowedPatch) -> Followed:
    frames = {
        frame: FollowedFrame(
            matrix=nine_of(sight.matrix),
            sigma_px=round(sight.sigma_px, 4),
            trusted=sight.trusted,
            source=sight.source,
            reason=sight.reason,
        )
        for frame, sight in found.sights.items()
    }
    gaps = [
        MarkGap(frame=g.frame, gaps_px=g.gaps_px, sigma_px=round(g.sigma_px, 4))
        for g in found.mark_gaps
    ]
    return Followed(
        patch=patch,
        model=found.model,
        follow=Follow(anchor=found.anchor, frames=frames),
        mark_gaps=tuple(gaps),
    )


def nine_of(matrix: Matrix) -> tuple[float, float, float, float, float, float, float, float, float]:
    """Return a homography as nine numbers, row by row."""
    (a, b, c), (d, e, f), (g, h, i) = matrix.tolist()
    return a, b, c, d, e, f, g, h, i
