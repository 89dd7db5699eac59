"""`glimsum submit`: jobs and sequences handed to the running service."""

import time
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from glimsum_jobs.errors import JobError
from glimsum_jobs.ledger import Hours
from glimsum_jobs.problems import Place
from glimsum_services.cli.exit_codes import Ending
from glimsum_services.cli.following import choose_view, follow
from glimsum_services.cli.options import (
    DEFAULT_SERVICE,
    AsJson,
    JobFiles,
    NotBefore,
    Service,
    Window,
    WrongUse,
    read_roots,
)
from glimsum_services.cli.reaching import reach
from glimsum_services.cli.telling import problem_json, problem_lines, say, say_json
from glimsum_services.cli.troubles import tell_troubles

if TYPE_CHECKING:
    from glimsum_jobs.problems import Problem
    from glimsum_jobs.shot import ShotJob
    from glimsum_services.client import Client, Sent
    from glimsum_services.job_file import Asked


def submit(
    jobs: JobFiles,
    *,
    wait: Annotated[bool, typer.Option("--wait", help="Follow the runs until they end.")] = False,
    priority: Annotated[
        int, typer.Option("--priority", min=0, max=100, help="100 is the most urgent.")
    ] = 50,
    not_before: NotBefore = None,
    window: Window = None,
    root: Annotated[
        list[str] | None,
        typer.Option(
            "--root",
            metavar="NAME=FOLDER",
            help="Where a root of the service lies on this machine, if it is another place here.",
        ),
    ] = None,
    service: Service = DEFAULT_SERVICE,
    as_json: AsJson = False,
) -> Ending:
    """Submit jobs or sequences to the running service; all of them or, if one is wrong, none."""
    from glimsum_services.run_stream import follow_runs  # noqa: PLC0415  # loads httpx

    asked = read_all(jobs)
    refuse_hours(not_before, window)
    with reach(service) as client:
        roots = client.roots() | read_roots(root)
        sent = send(client, asked, jobs, roots, priority=priority)
        remarks = [remark for each in asked for remark in each.remarks]
        tell_sent(client, sent, remarks, as_json=as_json)
        if not_before is not None or window is not None:
            for each in sent:
                client.control(each.run, not_before=not_before, window=window)
        if not wait:
            return Ending.DONE
        names = [each.run for each in sent]
        last = follow(follow_runs(client, names), choose_view(as_json=as_json))
        tell_troubles(client, last, as_json=as_json)
    return Ending.DONE if all(run.whole for run in last) else Ending.REFUSED


def refuse_hours(not_before: str | None, window: str | None) -> None:
    """Refuse hours that can't be read, before anything is handed to the service.

    Raises
    ------
    WrongUse
        A text is no time; the option is named.
    """
    from glimsum_services.hours import hours_of  # noqa: PLC0415  # not needed by `--help`

    try:
        hours_of(window, not_before, "UTC", time.time(), Hours())
    except JobError as error:
        [problem] = error.problems
        raise WrongUse(
            problem.what,
            place=Place(field="--" + str(problem.place.field).replace("_", "-")),
            seen=problem.seen,
            expected=problem.expected,
            remedy=problem.remedy,
        ) from error


def read_all(files: list[Path]) -> list["Asked"]:
    """Read all job files.

    Raises
    ------
    JobError
        With the problems of all of them.
    """
    from glimsum_services.job_file import read_job_file  # noqa: PLC0415  # loads the YAML reader

    asked: list[Asked] = []
    problems: list[Problem] = []
    for file in files:
        try:
            asked.append(read_job_file(file))
        except JobError as error:
            problems += error.problems
    if problems:
        raise JobError("nothing was submitted", problems)
    return asked


def send(
    client: "Client",
    asked: list["Asked"],
    files: list[Path],
    roots: Mapping[str, Path],
    *,
    priority: int = 50,
) -> list["Sent"]:
    """Name the roots in all paths and hand everything to the service in one request.

    Raises
    ------
    JobError
        A path lies in no root of the service, or the service refuses a job.
    WrongUse
        A sequence stands beside other files.
    """
    sequences = [each.sequence for each in asked if each.sequence is not None]
    if sequences and len(asked) > 1:
        raise WrongUse(
            "a sequence is submitted by itself",
            seen=f"{len(asked)} files, among them the sequence {sequences[0]}",
            expected="one sequence file, or job files of single shots",
            remedy="Submit them one after the other.",
        )
    rooted = root_all(asked, files, roots)
    return client.submit(rooted, sequence=sequences[0] if sequences else None, priority=priority)


def root_all(asked: list["Asked"], files: list[Path], roots: Mapping[str, Path]) -> list["ShotJob"]:
    """Return the jobs of all files with every path as ``root:path``.

    Raises
    ------
    JobError
        With every path of every job that lies in no root.
    """
    from glimsum_services.rooted import root_job  # noqa: PLC0415  # not needed by `--help`

    jobs: list[ShotJob] = []
    problems: list[Problem] = []
    for file, each in zip(files, asked, strict=True):
        for job in each.jobs:
            try:
                jobs.append(root_job(job, file.absolute().parent, roots))
            except JobError as error:
                problems += error.problems
    if problems:
        raise JobError("nothing was submitted", problems)
    return jobs


def tell_sent(
    client: "Client", sent: list["Sent"], remarks: list["Problem"], *, as_json: bool
) -> None:
    """Say which versions were made, and which were there before."""
    if as_json:
        runs = [each.as_json() for each in sent]
        told = [problem_json(each) for each in remarks]
        say_json({"page": client.page, "runs": runs, "remarks": told}, one_line=True)
        return
    for line in problem_lines(remarks):
        say(line)
    for each in sent:
        words = "" if each.new else "  the same job as before: this version stands"
        say(f"{each.run}  {each.folder}{words}")
    say(f"page: {client.page}")
