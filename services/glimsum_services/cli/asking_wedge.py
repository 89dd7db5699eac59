"""A wedge made by a service: asked for, followed, its sheet and JSON written here."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from glimsum_jobs.errors import JobError
from glimsum_jobs.problems import Place, Problem
from glimsum_services.cli.following import choose_view, follow
from glimsum_services.cli.options import WrongUse
from glimsum_services.cli.reaching import reach
from glimsum_services.service_errors import ServiceAway

if TYPE_CHECKING:
    from glimsum_jobs.varied import Varied
    from glimsum_jobs.wedges import Wedge
    from glimsum_services.client import Client

SHOT = re.compile(r"([a-z0-9][a-z0-9_-]{0,63})(?:/v(\d{1,4}))?")
"""A shot of the service, or one of its versions."""


@dataclass(frozen=True)
class MadeElsewhere:
    """A wedge of a service.

    Attributes
    ----------
    wedge : Wedge or None
        What was written; None where the service made no sheet.
    run : str
        Its name there.
    state : str
        How it ended.
    problems : list of Problem
        What is worth knowing, or why there is no sheet.
    """

    wedge: "Wedge | None"
    run: str
    state: str
    problems: list[Problem]


def is_of_service(job: Path) -> bool:
    """Return whether an argument means a shot of the service: no file, and the name of a shot.

    Raises
    ------
    WrongUse
        It is neither.
    """
    if job.is_file():
        return False
    if SHOT.fullmatch(str(job)):
        return True
    raise WrongUse(
        "this is neither a job file nor a shot",
        place=Place(field="JOB"),
        seen=f"{job}: no such file, and no name of a shot",
        expected="a job file that is there, or SHOT or SHOT/vNNN of the service",
        remedy="Check the name; `glimsum draft FOLDER` writes a job file.",
    )


def ask_service(
    shot: str,
    frames: Sequence[int],
    varied: "Sequence[Varied]",
    width: int,
    out: Path,
    *,
    service: str,
    as_json: bool,
) -> MadeElsewhere:
    """Ask a service for a wedge, follow it, and write its sheet and its JSON.

    Parameters
    ----------
    shot : str
        SHOT (its newest version) or SHOT/vNNN.
    frames : sequence of int
        Shot frames.
    varied : sequence of Varied
        One or two values.
    width : int
        Largest width of a picture, pixels.
    out : Path
        The sheet, ``.jpg``; its folder exists.
    service : str
        Address of the service.
    as_json : bool
        Follow without a word.

    Returns
    -------
    MadeElsewhere
        What was written, or why nothing was.

    Raises
    ------
    WrongUse
        The service has no such shot.
    JobError
        The wedge can't be made of this job.
    ServiceAway
        Nobody answers.
    """
    try:
        with reach(service) as client:
            return _ask(client, shot, frames, varied, width, out, as_json=as_json)
    except ServiceAway as error:
        error.remedy += f" Or name a job file: there is no file {shot} here."
        raise


def _ask(  # noqa: PLR0917  # what `ask_service` was given
    client: "Client",
    shot: str,
    frames: Sequence[int],
    varied: "Sequence[Varied]",
    width: int,
    out: Path,
    *,
    as_json: bool,
) -> MadeElsewhere:
    from glimsum_services.client import problem_of  # noqa: PLC0415  # loads httpx
    from glimsum_services.run_stream import follow_runs  # noqa: PLC0415  # the same

    name, _, version = shot.partition("/v")
    try:
        client.details(client.full_name(shot))
    except JobError as error:
        raise WrongUse(
            "this is neither a job file nor a shot of the service",
            place=Place(field="JOB"),
            seen=f"{shot}: no such file here; {error.what}",
            expected=f"a job file that is there, or a shot that {client.address} knows",
            remedy="Check the name, or submit the shot first.",
        ) from error
    asked: dict[str, Any] = {
        "shot": name,
        "frames": list(frames),
        "varied": [each.model_dump(mode="json") for each in varied],
        "width": width,
    } | ({"version": int(version)} if version else {})
    told = client.ask("POST", "/wedges", json=asked)
    runs = follow_runs(client, [told["run"]])
    if as_json:
        for _ in runs:
            pass
    else:
        follow(runs, choose_view(as_json=False))
    shown = client.ask("GET", told["links"]["self"])
    problems = [problem_of(each) for each in shown["problems"]]
    wedge = None
    if "sheet" in shown["links"]:
        wedge = _write(client, shown, out)
    return MadeElsewhere(wedge, shown["run"], shown["state"], problems)


def _write(client: "Client", shown: dict[str, Any], out: Path) -> "Wedge":
    from glimsum_jobs.wedges import Wedge  # noqa: PLC0415  # not needed by `--help`
    from glimsum_services.folders import write_whole  # noqa: PLC0415  # the same

    wedge = Wedge.model_validate({**shown["wedge"], "sheet": out.name})
    folder = out.absolute().parent
    write_whole(folder, out.name, client.fetch(shown["links"]["sheet"]))
    text = wedge.model_dump_json(indent=1).encode() + b"\n"
    write_whole(folder, out.with_suffix(".json").name, text)
    return wedge
