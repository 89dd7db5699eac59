"""Jobs for commands that work here, without a service: read, and rooted on this machine."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from glimsum_jobs.problems import Place, Problem
from glimsum_jobs.shot import ShotJob
from glimsum_services.cli.options import WrongUse
from glimsum_services.job_file import read_job_file
from glimsum_services.rooted import root_job


@dataclass(frozen=True)
class LocalJob:
    """One job of a file, ready to be looked at here."""

    job: ShotJob
    """Every path is ``root:path``."""
    roots: Mapping[str, Path]
    own_root: str
    """The root that stands for the folder of the job file."""
    remarks: tuple[Problem, ...]

    def as_written(self, problem: Problem) -> Problem:
        """Return a problem with files named as in the job, without the root added here."""
        words = problem.model_dump(exclude={"rank", "place"})
        plain = {name: text.replace(f"{self.own_root}:", "") for name, text in words.items()}
        place = problem.place
        if place.file is not None:
            file = place.file.removeprefix(f"{self.own_root}:")
            place = place.model_copy(update={"file": file})
        return Problem(rank=problem.rank, place=place, **plain)


def read_local_jobs(file: Path, roots: Mapping[str, Path]) -> list[LocalJob]:
    """Read a job file; its own folder is a root beside those of this machine.

    Raises
    ------
    JobError
        With every problem of the file.
    """
    asked = read_job_file(file)
    folder = file.absolute().parent
    own = _free_name(roots)
    known = {own: folder} | dict(roots)
    return [
        LocalJob(
            root_job(job, folder, known),
            known,
            own,
            tuple(each for each in asked.remarks if each.place.shot in (None, job.shot)),
        )
        for job in asked.jobs
    ]


def only_job(file: Path, roots: Mapping[str, Path]) -> LocalJob:
    """Read a job file that holds one job.

    Raises
    ------
    JobError
        With every problem of the file.
    WrongUse
        It holds several.
    """
    jobs = read_local_jobs(file, roots)
    if len(jobs) != 1:
        raise WrongUse(
            "this file holds several jobs",
            place=Place(file=str(file)),
            seen=", ".join(each.job.shot for each in jobs),
            expected="a file with one job",
            remedy="Name the file of the shot itself.",
        )
    return jobs[0]


def _free_name(roots: Mapping[str, Path]) -> str:
    name = "job_folder"
    while name in roots:
        name += "_"
    return name
