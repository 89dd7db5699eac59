"""How the passes of a shot are brought back on to the reference, frame by frame."""

from glimsum_jobs.measurements import Solved
from glimsum_jobs.shot import ShotJob
from glimsum_workers.engine.motion import Motion


def motion_on(solved: Solved, job: ShotJob, name: str, frame: int) -> Motion | None:
    """Return how a pass lies against the reference on a frame; None where it is left alone.

    The reference itself moves only with a locked camera, where everything goes on to one frame.
    """
    if job.passes[name].align == "none" and name != job.reference_pass:
        return None
    track = solved.tracks.get(name)
    placed = None if track is None else track.frames.get(frame)
    if placed is None:
        return None
    return Motion(placed.dx, placed.dy, placed.rotation_deg, placed.scale)


def applied_motions(solved: Solved, job: ShotJob, frame: int) -> dict[str, dict[str, object]]:
    """Return the motion taken out of every pass on a frame, for the master and the report."""
    return {
        name: track.frames[frame].model_dump(mode="json")
        for name, track in solved.tracks.items()
        if frame in track.frames and motion_on(solved, job, name, frame) is not None
    }
