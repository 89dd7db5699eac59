"""What was followed on the reference, as it lies in the finished picture, and remarks on it."""

from collections.abc import Mapping, Sequence

import numpy as np

from glimsum_jobs.follows import Follow, Followed, FollowedFrame
from glimsum_jobs.frame_ranges import runs_of
from glimsum_jobs.patches import marked_patches
from glimsum_jobs.problems import Place, Problem, Rank
from glimsum_jobs.shot import ShotJob
from glimsum_jobs.tracks import PassTrack
from glimsum_workers.engine.motion import Affine, Motion
from glimsum_workers.engine.planar.homography import Matrix, Points, carry, inverse, normed
from glimsum_workers.engine.planar.outline import ring_about
from glimsum_workers.measuring.follow_shot import nine_of
from glimsum_workers.measuring.kept_pictures import motion_of

_STILL_SIGMAS = 3.0
_STILL_LEAST_PX = 0.1
"""A patch of a locked shot that moves less than this, or than three sigma, stands."""
_APART_PX = 1.0
_APART_SIGMAS = 5.0
"""Marks further apart than both are told of."""


def solve_follows(
    job: ShotJob,
    followed: Sequence[Followed],
    tracks: Mapping[str, PassTrack],
    size: tuple[int, int],
) -> dict[str, Follow]:
    """Return where the patches of a shot lie in the finished picture.

    Parameters
    ----------
    job : ShotJob
        The shot.
    followed : sequence of Followed
        What following told, in the reference as recorded.
    tracks : mapping of pass to PassTrack
        Where passes lie. With a locked camera the reference itself is laid on one frame, and
        what was followed on it with it.
    size : tuple of int
        (height, width) of the reference.

    Returns
    -------
    dict of str to Follow
        By ``insert:NAME``, ``matte:NAME``, ``element:NAME``. What does not move beyond its sigma
        in a locked shot stands still: noise of following would make it tremble on a set that
        stands.
    """
    solved = {}
    patches = marked_patches(job)
    for each in followed:
        follow = each.follow
        if job.camera == "locked":
            marked = patches[each.patch]
            points = np.asarray(marked.marks[follow.anchor], np.float64)
            if marked.radius_px is not None:
                points = ring_about(points[0, 0], points[0, 1], marked.radius_px)
            laid = _laid(follow, tracks.get(job.reference_pass), size)
            follow = _stilled(laid, points)
        solved[each.patch] = follow
    return solved


def _laid(follow: Follow, track: PassTrack | None, size: tuple[int, int]) -> Follow:
    """Return a follow on the frame all of a locked shot is laid on."""
    frames = {}
    for frame, each in follow.frames.items():
        placed = None if track is None else track.frames.get(frame)
        back = np.eye(3) if placed is None else inverse(matrix_of(motion_of(placed), size))
        moved = normed(back @ np.asarray(each.matrix, np.float64).reshape(3, 3))
        frames[frame] = each.model_copy(update={"matrix": nine_of(moved)})
    return follow.model_copy(update={"frames": frames})


def _stilled(follow: Follow, points: Points) -> Follow:
    known = {f: each for f, each in follow.frames.items() if each.trusted}
    still = _matrix(follow.frames[follow.anchor])
    rest = carry(still, points)
    away = [np.abs(carry(_matrix(each), points) - rest).max() for each in known.values()]
    doubt = max((each.sigma_px for each in known.values()), default=0.0)
    if not away or max(away) > max(_STILL_SIGMAS * doubt, _STILL_LEAST_PX):
        return follow
    stands = {
        frame: each.model_copy(update={"matrix": nine_of(still), "trusted": True})
        for frame, each in follow.frames.items()
    }
    return follow.model_copy(update={"frames": stands})


def _matrix(frame: FollowedFrame) -> Matrix:
    return np.asarray(frame.matrix, dtype=np.float64).reshape(3, 3)


def matrix_of(motion: Motion | Affine, size: tuple[int, int]) -> Matrix:
    """Return a motion about the middle of a picture of (height, width) as a homography."""
    centre = np.array([size[1] / 2, size[0] / 2])
    matrix = np.eye(3)
    matrix[:2, :2] = motion.turn()
    matrix[:2, 2] = centre - matrix[:2, :2] @ centre + [motion.dx, motion.dy]
    return matrix


def tell_follows(
    job: ShotJob, followed: Sequence[Followed], follows: Mapping[str, Follow]
) -> list[Problem]:
    """Tell on which frames what is followed was lost, and which marks disagree."""
    problems = []
    for each in followed:
        kind, _, name = each.patch.partition(":")
        place = Place(shot=job.shot, field=f"{kind}s.{name}")
        problems += _lost(kind, name, follows.get(each.patch, each.follow), place)
        problems += _apart(kind, name, each, place)
    return problems


def _lost(kind: str, name: str, follow: Follow, place: Place) -> list[Problem]:
    lost = {f: each for f, each in follow.frames.items() if not each.trusted}
    if not lost:
        return []
    first = min(lost)
    why = lost[first].reason or f"known to {lost[first].sigma_px:.2f} px"
    return [
        Problem(
            rank=Rank.REMARK,
            what=f"what {kind} {name} follows was lost on {len(lost)} frames",
            place=place,
            seen=f"frames {runs_of(sorted(lost))}; on frame {first}: {why}",
            expected="a patch that the reference shows on every frame",
            remedy=f"Mark it on frame {first} too; more marks correct it.",
        )
    ]


def _apart(kind: str, name: str, each: Followed, place: Place) -> list[Problem]:
    problems = []
    for gap in each.mark_gaps:
        worst = max(gap.gaps_px)
        if worst > max(_APART_PX, _APART_SIGMAS * gap.sigma_px):
            corner = gap.gaps_px.index(worst) + 1
            problems.append(
                Problem(
                    rank=Rank.REMARK,
                    what=f"two marks of {kind} {name} disagree",
                    place=place.model_copy(update={"frame": gap.frame}),
                    seen=f"point {corner} marked {worst:.1f} px from where the mark of frame "
                    f"{each.follow.anchor} is followed to",
                    expected=f"at most {_APART_PX:g} px (following is good to "
                    f"{gap.sigma_px:.2f} px)",
                    remedy="Look at both frames and correct the mark that is off: between them "
                    "what is laid on slides.",
                )
            )
    return problems
