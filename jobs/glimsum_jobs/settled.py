"""A job as its check settled it: nothing behind the check knows of start offsets to be found."""

from glimsum_jobs.errors import JobError
from glimsum_jobs.measurements import Checked
from glimsum_jobs.problems import Place, Problem, Rank
from glimsum_jobs.shot import ShotJob


def settled(job: ShotJob, checked: Checked) -> ShotJob:
    """Return a job with every start offset that the check found in place of ``auto``.

    Parameters
    ----------
    job : ShotJob
        As submitted.
    checked : Checked
        What its check found.

    Returns
    -------
    ShotJob
        The job itself where nothing was to be found.

    Raises
    ------
    JobError
        The check found nothing of a pass whose offset was to be found.
    """
    sought = [name for name, each in job.passes.items() if each.start_offset == "auto"]
    if not sought:
        return job
    lost = [name for name in sought if name not in checked.passes]
    if lost:
        raise JobError(f"shot {job.shot} has no start offsets", [_lost(job, n) for n in lost])
    found = {
        name: job.passes[name].model_copy(
            update={"start_offset": checked.passes[name].start_offset}
        )
        for name in sought
    }
    return job.model_copy(update={"passes": {**job.passes, **found}})


def _lost(job: ShotJob, name: str) -> Problem:
    return Problem(
        rank=Rank.STOPS_SHOT,
        what=f"the start offset of pass {name} was not found",
        place=Place(shot=job.shot, pass_name=name, field=f"passes.{name}.start_offset"),
        seen="start_offset: auto, and a check that could not look at the pass",
        expected="a check that has looked at every pass",
        remedy="Check the shot again, or state start_offset.",
    )
