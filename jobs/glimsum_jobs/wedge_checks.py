"""Whether a wedge can be made: everything that its job tells before a file is opened."""

from collections.abc import Sequence

from glimsum_jobs.errors import JobError
from glimsum_jobs.problems import Place, Problem, Rank
from glimsum_jobs.shot import ShotJob
from glimsum_jobs.varied import MOST_PICTURES, Varied
from glimsum_jobs.wedges import OPTION, job_of_cell, lay_out_cells


def refuse_wedge(job: ShotJob, varied: Sequence[Varied], frames: Sequence[int]) -> None:
    """Refuse a wedge that can't be made of a job.

    Parameters
    ----------
    job : ShotJob
        The job it is to be made of.
    varied : sequence of Varied
        One or two values.
    frames : sequence of int
        Shot frames.

    Raises
    ------
    JobError
        With every problem: frames the shot has not, one that stands twice, too many pictures, a
        value that stands twice or that the step can't have, a step or a cue that is not there.
    """
    problems = [*_frames(job, frames), *_count(job, varied, frames)]
    columns = len(varied[0].values)
    problems += [p for each in varied for p in _twice(job, each)]
    try:
        cells = lay_out_cells(job, varied)
    except JobError as error:
        problems += error.problems
        cells = ()
    told: dict[str, Problem] = {}
    # Each value once is enough: what is wrong with one is wrong beside all others.
    for cell in (*cells[:columns], *cells[columns::columns]):
        try:
            job_of_cell(job, cell)
        except JobError as error:
            told |= {str(each): each for each in error.problems}
    problems += told.values()
    if problems:
        raise JobError(f"the wedge of shot {job.shot} can't be made", problems)


def _frames(job: ShotJob, frames: Sequence[int]) -> list[Problem]:
    first, last = job.frames.first, job.frames.last
    problems = [
        _problem(
            job,
            "the shot has no such frame",
            frame=frame,
            seen=str(frame),
            expected=f"{first} to {last}",
            remedy="Name a frame of the shot.",
        )
        for frame in dict.fromkeys(frames)
        if not first <= frame <= last
    ]
    for frame in dict.fromkeys(frames):
        if (count := list(frames).count(frame)) > 1:
            problems.append(
                _problem(
                    job,
                    "a frame stands twice",
                    frame=frame,
                    seen=f"{count} times",
                    expected="each frame once",
                    remedy="Name it once.",
                )
            )
    return problems


def _count(job: ShotJob, varied: Sequence[Varied], frames: Sequence[int]) -> list[Problem]:
    count = len(frames)
    for each in varied:
        count *= len(each.values)
    if count <= MOST_PICTURES:
        return []
    return [
        _problem(
            job,
            "the sheet would have too many pictures",
            seen=f"{count} pictures",
            expected=f"{MOST_PICTURES} at most",
            remedy="Try fewer values or frames.",
        )
    ]


def _twice(job: ShotJob, varied: Varied) -> list[Problem]:
    doubled = [v for v in dict.fromkeys(varied.values) if varied.values.count(v) > 1]
    return [
        _problem(
            job,
            f"a value of {varied.name} stands twice",
            seen=str(value),
            expected="different values",
            remedy="Name each value once.",
        )
        for value in doubled
    ]


def _problem(
    job: ShotJob, what: str, *, seen: str, expected: str, remedy: str, frame: int | None = None
) -> Problem:
    field = OPTION if frame is None else None
    return Problem(
        rank=Rank.STOPS_SHOT,
        what=what,
        place=Place(shot=job.shot, frame=frame, field=field),
        seen=seen,
        expected=expected,
        remedy=remedy,
    )
