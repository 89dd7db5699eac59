"""The tracks of a shot's passes solved from what registering their frames told."""

import math
from collections.abc import Container, Mapping, Sequence

from glimsum_jobs.measurements import Checked
from glimsum_jobs.plan import best_frame, hold_frame, is_looked_at
from glimsum_jobs.shot import ShotJob
from glimsum_jobs.tracks import Aligned, Knock, PassTrack, Placed, Registered, Rows, Tracked
from glimsum_workers.engine.drift.locked import solve_locked, solve_reference
from glimsum_workers.engine.drift.moving import solve_moving
from glimsum_workers.engine.drift.parallax import RELIT_PX
from glimsum_workers.engine.drift.relit import free_from_light
from glimsum_workers.engine.drift.track import Track
from glimsum_workers.engine.motion import Affine, Registration
from glimsum_workers.measuring.kept_pictures import as_registration, nearest_similarity

_SAME_LIGHT_PX = 0.005
"""How far parallax may be feigned in the same light."""


def solve_tracks(
    job: ShotJob, tracked: Sequence[Tracked], checked: Checked, aligned: Sequence[Aligned] = ()
) -> dict[str, PassTrack]:
    """Solve where every tracked pass lies on every frame.

    Parameters
    ----------
    job : ShotJob
        The shot.
    tracked : sequence of Tracked
        One a pass and frame; what was set aside is missing.
    checked : Checked
        Tells the hold frame of a locked shot.
    aligned : sequence of Aligned
        The alignment frames.

    Returns
    -------
    dict of str to PassTrack
        By pass, the reference included; empty where no pass may drift.
    """
    names = list(dict.fromkeys(each.pass_name for each in tracked))
    cross = {name: _registrations(tracked, name, "cross") for name in names}
    own = {name: _registrations(tracked, name, "own") for name in names}
    for each in aligned:
        cross[each.pass_name] = _without_light(job, cross[each.pass_name], each)
    # What shows little takes its place from its neighbours: the sure ones come first.
    names.sort(key=lambda name: -sum(each.trusted for each in cross[name].values()))
    solved: dict[str, Track] = {}
    for name in names:
        if name != job.reference_pass:
            sure = {
                other: track
                for other, track in solved.items()
                if other != job.reference_pass and track.trusted.all()
            }
            solved[name] = _solve(job, name, cross[name], own, checked=checked, neighbours=sure)
        elif job.camera == "locked":
            size = _size(checked, name)
            hold = hold_frame(job, checked)
            frames = tuple(job.frames.numbers)
            solved[name] = solve_reference(own[name], hold=hold, size=size, frames=frames)
    told = _frames_with_depth(tracked)
    return {name: _as_pass_track(track, told.get(name, set())) for name, track in solved.items()}


def _frames_with_depth(tracked: Sequence[Tracked]) -> dict[str, set[int]]:
    """Return the frames by pass on which near and far can be told apart."""
    frames: dict[str, set[int]] = {}
    for each in tracked:
        if each.cross is not None and not each.no_parallax:
            frames.setdefault(each.pass_name, set()).add(each.frame)
    return frames


def _solve(
    job: ShotJob,
    name: str,
    cross: Mapping[int, Registration],
    own: Mapping[str, Mapping[int, Registration]],
    *,
    checked: Checked,
    neighbours: Mapping[str, Track],
) -> Track:
    size = _size(checked, name)
    frames = tuple(frame for frame in job.frames.numbers if is_looked_at(job, name, frame))
    if job.camera == "locked":
        best = best_frame(job, checked, name)
        return solve_locked(
            cross, own[name], best=best, size=size, frames=frames, neighbours=neighbours
        )
    return solve_moving(
        cross,
        own[name],
        own.get(job.reference_pass, {}),
        size=size,
        frames=frames,
        neighbours=neighbours,
        relit_px=RELIT_PX if job.passes[name].alignment is None else _SAME_LIGHT_PX,
    )


def _without_light(
    job: ShotJob, cross: dict[int, Registration], aligned: Aligned
) -> dict[int, Registration]:
    """Return the registrations of a pass freed from what its light does, by its alignment frame.

    Where the pass itself shows too little on that frame, a locked camera takes its place from the
    alignment frame alone.
    """
    found = as_registration(aligned.found)
    freed = free_from_light(cross, found, aligned.frame)
    if freed is None and job.camera == "locked" and found.trusted:
        return {aligned.frame: found}
    return cross if freed is None else freed


def _size(checked: Checked, name: str) -> tuple[int, int]:
    found = checked.passes[name]
    return found.height, found.width


def _registrations(tracked: Sequence[Tracked], name: str, which: str) -> dict[int, Registration]:
    found: dict[int, Registration] = {}
    for each in tracked:
        told: Registered | None = getattr(each, which)
        if each.pass_name == name and told is not None:
            found[each.frame] = as_registration(told)
    return found


def _as_pass_track(track: Track, with_depth: Container[int]) -> PassTrack:
    frames = {}
    for index, frame in enumerate(track.frames):
        found, sigma = track.motions[index], float(track.sigma_px[index])
        motion = nearest_similarity(found)
        near = frame in with_depth and motion.parallax != (0.0, 0.0)
        frames[frame] = Placed(
            dx=round(motion.dx, 5),
            dy=round(motion.dy, 5),
            rotation_deg=round(motion.rotation_deg, 7),
            scale=round(motion.scale, 9),
            sigma_px=round(sigma, 5) if math.isfinite(sigma) else None,
            trusted=bool(track.trusted[index]),
            source=track.sources[index],
            matrix=_rounded(found.matrix) if isinstance(found, Affine) else None,
            parallax=(round(motion.parallax[0], 5), round(motion.parallax[1], 5)) if near else None,
            parallax_sigma_px=_parallax_sigma(track, index) if near else None,
        )
    knocks = tuple(Knock(frame=step.frame, dx=step.dx, dy=step.dy) for step in track.steps)
    return PassTrack(
        frames=frames,
        knocks=knocks,
        remarks=tuple(track.remarks),
        steady_from=track.steady_from,
    )


def _rounded(matrix: Rows) -> Rows:
    (a, b), (c, d) = matrix
    return (round(a, 9), round(b, 9)), (round(c, 9), round(d, 9))


def _parallax_sigma(track: Track, index: int) -> float | None:
    sigma = None if track.parallax_sigma_px is None else float(track.parallax_sigma_px[index])
    return None if sigma is None or not math.isfinite(sigma) else round(sigma, 5)
