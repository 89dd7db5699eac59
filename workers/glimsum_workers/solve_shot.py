"""Levels of all frames solved together, from what measuring left behind."""

from glimsum_jobs.measurements import Averaged, Solved
from glimsum_jobs.plan import dead_frames
from glimsum_jobs.problems import Place, Problem, Rank
from glimsum_jobs.shot import ShotJob
from glimsum_workers.footage.averages import Averages
from glimsum_workers.footage.digests import digest_of
from glimsum_workers.footage.material import Material
from glimsum_workers.frames.kept import Keep
from glimsum_workers.measuring.measured import Measured
from glimsum_workers.solving.follows import solve_follows, tell_follows
from glimsum_workers.solving.kept_levels import solve_levels_once
from glimsum_workers.solving.track_remarks import tell_places
from glimsum_workers.solving.tracks import solve_tracks


def solve_shot(job: ShotJob, measured: Measured, material: Material, keep: Keep) -> Solved:
    """Solve the levels and the tracks of all frames together.

    Parameters
    ----------
    job : ShotJob
        The shot.
    measured : Measured
        What measuring left behind.
    material : Material
        Reads the ambient of a moving camera.
    keep : Keep
        Where the samples are.

    Returns
    -------
    Solved
        Levels, tracks and averages, with remarks on frames whose level could not be trusted and on
        averages that lack a file.
    """
    by_name = {each.pass_name: each for each in measured.averaged}
    averages = Averages(job, by_name, material, keep)
    levels, problems = solve_levels_once(job, measured.sampled, by_name, averages, keep)
    for each in measured.averaged:
        problems += _left_out(job, each, len(material.file_numbers(each.pass_name)))
    tracks = solve_tracks(job, measured.tracked, material.checked, measured.aligned)
    problems += tell_places(job, measured, tracks, dead_frames(material.checked))
    whole = material.checked.passes[job.reference_pass]
    follows = solve_follows(job, measured.followed, tracks, (whole.height, whole.width))
    problems += tell_follows(job, measured.followed, follows)
    return Solved(
        averages=by_name,
        levels=levels,
        tracks=tracks,
        follows=follows,
        problems=tuple(problems),
        revision=digest_of(
            {name: each.key for name, each in by_name.items()},
            {name: each.model_dump(mode="json") for name, each in levels.items()},
            {name: each.model_dump(mode="json") for name, each in tracks.items()},
            *(
                [{n: each.model_dump(mode="json") for n, each in follows.items()}]
                if follows
                else []
            ),
        ),
    )


def _left_out(job: ShotJob, average: Averaged, files: int) -> list[Problem]:
    """Name an average that lacks files; damage inside a file shows only when it is read."""
    if average.frames == files:
        return []
    name = average.pass_name
    return [
        Problem(
            rank=Rank.REMARK,
            what=f"the average of pass {name} lacks files that can't be read",
            place=Place(shot=job.shot, pass_name=name, file=job.passes[name].files),
            seen=f"{average.frames} files averaged",
            expected=f"{files} files",
            remedy="Copy the pass from the card again; the others make the average.",
        )
    ]
