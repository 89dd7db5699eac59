"""`glimsum pick`: a cell of a wedge is taken, as the next version or a changed job file."""

import re
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from pydantic import ValidationError

from glimsum_jobs.errors import SourceError
from glimsum_jobs.problems import Place
from glimsum_services.cli.exit_codes import Ending
from glimsum_services.cli.options import DEFAULT_SERVICE, AsJson, Service, WrongUse
from glimsum_services.cli.reaching import reach
from glimsum_services.cli.rerunning import tell_taken
from glimsum_services.cli.telling import say, say_json

if TYPE_CHECKING:
    from glimsum_jobs.shot import ShotJob
    from glimsum_jobs.wedges import Cell, Wedge
    from glimsum_services.client import Client

MOST_LOOKED_AT = 20
"""Versions of a shot, the newest first, among which that of a sheet is looked for."""
LARGEST_SHEET = 1 << 22
WEDGE = re.compile(r"[a-z0-9][a-z0-9_-]{0,63}/w\d{1,6}")
"""A wedge of the service."""


def pick(
    sheet: Annotated[
        Path,
        typer.Argument(
            metavar="SHEET",
            help="A sheet of `glimsum wedge`, or its FILE.json; or SHOT/wNNN: a wedge of the "
            "service.",
        ),
    ],
    cell: Annotated[int, typer.Argument(metavar="CELL", help="Number of the cell.")],
    *,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out",
            metavar="JOB",
            help="Write a changed job file beside the old one, without a service.",
        ),
    ] = None,
    wait: Annotated[bool, typer.Option("--wait", help="Follow the run until it ends.")] = False,
    priority: Annotated[
        int, typer.Option("--priority", min=0, max=100, help="100 is the most urgent.")
    ] = 50,
    service: Service = DEFAULT_SERVICE,
    as_json: AsJson = False,
) -> Ending:
    """Make a cell of a wedge the next version of its shot, or a changed job file."""
    if _is_of_service(sheet):
        if out is not None:
            raise _no_job(str(sheet), str(sheet).partition("/")[0])
        with reach(service) as client:
            name = client.full_name(str(sheet))
            taken = client.pick(name, cell, priority)
            return tell_taken(client, taken, wait=wait, as_json=as_json)
    if not sheet.name:
        raise _neither(sheet)
    file = sheet.with_suffix(".json")
    if not (_is_there(file) or _is_there(sheet)):
        raise _neither(sheet)
    made = _read_sheet(file)
    chosen = _cell(made, cell)
    if out is not None and made.version is not None:
        raise _no_job(made.job, made.shot)
    if out is not None:
        from glimsum_services.changed_job_file import (  # noqa: PLC0415  # loads the YAML reader
            write_changed_job,
        )

        write_changed_job(file.absolute().parent / made.job, chosen.changes, out)
        if as_json:
            say_json({"file": str(out), "cell": cell, "words": chosen.words})
        else:
            say(f"{out}  {chosen.words} (was {', '.join(made.now)})")
        return Ending.DONE
    from glimsum_jobs.step_changes import change_steps  # noqa: PLC0415  # not needed by `--help`

    with reach(service) as client:
        version, job = _version_of(client, made)
        patch = {"recipe": change_steps(job, chosen.changes)}
        query = {"earlier": version, "priority": priority}
        taken = client.ask("POST", f"/shots/{made.shot}/versions", json=patch, params=query)
        return tell_taken(client, taken, wait=wait, as_json=as_json)


def _is_of_service(sheet: Path) -> bool:
    """Return whether an argument means a wedge of the service: no sheet, and the name of one."""
    if WEDGE.fullmatch(str(sheet)) is None:
        return False
    return not (_is_there(sheet) or _is_there(sheet.with_suffix(".json")))


def _is_there(file: Path) -> bool:
    """Return whether a file is there, or may be: reading it tells."""
    try:
        return file.is_file()
    except OSError:
        return True


def _no_job(seen: str, shot: str) -> WrongUse:
    return WrongUse(
        "there is no job file to change: the service made this wedge of a version",
        place=Place(field="--out", shot=shot),
        seen=seen,
        expected="a wedge of a job file",
        remedy="Leave --out away: the cell becomes the next version.",
    )


def _read_sheet(file: Path) -> "Wedge":
    from glimsum_jobs.wedges import Wedge  # noqa: PLC0415  # not needed by `--help`

    try:
        with file.open("rb") as opened:
            return Wedge.model_validate_json(opened.read(LARGEST_SHEET))
    except OSError as error:
        raise _no_sheet(file, error.strerror or str(error)) from error
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(map(str, first["loc"]))
        raise _no_sheet(file, f"{where}: {first['msg']}".lstrip(": ")) from error


def _neither(sheet: Path) -> WrongUse:
    return WrongUse(
        "this is neither a sheet nor a wedge of the service",
        place=Place(field="SHEET"),
        seen=f"{sheet}: there is no such file",
        expected="a sheet of `glimsum wedge` with its FILE.json beside it, or SHOT/wNNN",
        remedy="Check the name; `glimsum wedges SHOT` lists those of the service.",
    )


def _no_sheet(file: Path, seen: str) -> WrongUse:
    return WrongUse(
        "the wedge can't be read",
        place=Place(file=str(file)),
        seen=seen,
        expected="a file that `glimsum wedge` wrote",
        remedy="Keep it beside the sheet, or make the wedge again.",
    )


def _cell(made: "Wedge", number: int) -> "Cell":
    found = next((each for each in made.cells if each.cell == number), None)
    if found is None or found.as_it_is:
        raise WrongUse(
            "there is no such cell" if found is None else "this cell is the job as it is",
            place=Place(shot=made.shot, field="CELL"),
            seen=f"cell {number}",
            expected=f"a cell from 1 to {len(made.cells)} that is not marked as it is",
            remedy="Look at the number under the picture.",
        )
    return found


def _version_of(client: "Client", made: "Wedge") -> tuple[int, "ShotJob"]:
    """Return the newest version that has the recipe the wedge was made of, and its job."""
    from glimsum_jobs.step_changes import change_steps  # noqa: PLC0415  # not needed by `--help`

    shown: dict[str, Any] = client.ask("GET", f"/shots/{made.shot}")
    versions = sorted(shown["versions"], reverse=True)[:MOST_LOOKED_AT]
    for version in versions:
        job = client.job(f"{made.shot}/v{version:03d}")
        if change_steps(job, ()) == list(made.recipe):
            return version, job
    raise SourceError(
        f"no version of shot {made.shot} has the recipe this wedge was made of",
        place=Place(shot=made.shot, field="recipe"),
        seen=f"other recipes in {', '.join(f'v{version:03d}' for version in versions)}",
        expected=f"the recipe of {made.job} as it was then",
        remedy="Submit the job first, or write a changed job file with --out.",
    )
