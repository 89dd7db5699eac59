"""How the passes of a shot are brought back on to the reference, frame by frame."""

from glimsum_jobs.measurements import Solved
from glimsum_jobs.shot import ShotJob
from glimsum_workers.engine.motion import Affine, Motion
from glimsum_workers.measuring.kept_pictures import motion_of


def motion_on(solved: Solved, job: ShotJob, name: str, frame: int) -> Motion | Affine | None:
    """Return how a pass lies against the reference on a frame; None where it is left alone.

    The reference itself moves only with a locked camera, where everything goes on to one frame.
    """
    if job.passes[name].align == "none" and name != job.reference_pass:
        return None
    track = solved.tracks.get(name)
    placed = None if track is None else track.frames.get(frame)
    if placed is None:
        return None
    return motion_of(placed)


def motion_numbers(motion: Motion | Affine) -> list[object]:
    """Return the numbers of a motion that change pixels, for a fingerprint."""
    if isinstance(motion, Affine):
        return [motion.dx, motion.dy, motion.matrix]
    numbers: list[object] = [motion.dx, motion.dy, motion.rotation_deg, motion.scale]
    return [*numbers, motion.parallax] if has_parallax(motion) else numbers


def has_parallax(motion: Motion | Affine) -> bool:
    """Return whether near and far are displaced differently."""
    return isinstance(motion, Motion) and motion.parallax != (0.0, 0.0)


def applied_motions(solved: Solved, job: ShotJob, frame: int) -> dict[str, dict[str, object]]:
    """Return the motion taken out of every pass on a frame, for the master and the report."""
    return {
        name: track.frames[frame].model_dump(mode="json")
        for name, track in solved.tracks.items()
        if frame in track.frames and motion_on(solved, job, name, frame) is not None
    }
