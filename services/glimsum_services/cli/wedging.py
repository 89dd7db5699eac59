"""`glimsum wedge` and `glimsum pick`: trials in grades on a sheet, and the one that is taken."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from pydantic import ValidationError

from glimsum_jobs.errors import SourceError
from glimsum_jobs.problems import Place
from glimsum_services.cli.exit_codes import Ending
from glimsum_services.cli.options import (
    DEFAULT_SERVICE,
    AsJson,
    RootPairs,
    Service,
    WrongUse,
    read_roots,
)
from glimsum_services.cli.reaching import reach, read_settings
from glimsum_services.cli.rerunning import tell_taken
from glimsum_services.cli.stilling import KEPT
from glimsum_services.cli.telling import problem_json, problem_lines, say, say_json
from glimsum_services.cli.vary_options import read_varied

if TYPE_CHECKING:
    from glimsum_jobs.shot import ShotJob
    from glimsum_jobs.wedges import Cell, Wedge
    from glimsum_services.client import Client

ENDINGS = (".jpg", ".png")
MOST_PICTURES = 150
MOST_LOOKED_AT = 20
"""Versions of a shot, the newest first, among which that of a sheet is looked for."""
LARGEST_SHEET = 1 << 22


def wedge(
    job: Annotated[Path, typer.Argument(metavar="JOB", help="The job file.")],
    frames: Annotated[list[int], typer.Argument(metavar="FRAME...", help="Shot frames.")],
    *,
    vary: Annotated[
        list[str] | None,
        typer.Option(
            "--vary",
            metavar="NAME=VALUES",
            help="Stops of a step: 'practicals=-1 to 1 by 0.5' or haze=-1,0,out; its tint: "
            "'beauty tint=-40,0,40'; the stops of a cue: 'flash cue 1=-2,-1,0'. NAME#2 is the "
            "second step of that name. Keyframes are moved by the values, all together. Once or "
            "twice: the first along the rows, the second down the columns.",
        ),
    ] = None,
    out: Annotated[
        Path,
        typer.Option("--out", help="The sheet, FILE.jpg or FILE.png; FILE.json comes with it."),
    ],
    width: Annotated[
        int, typer.Option("--width", min=64, max=4096, help="Largest width of a picture, pixels.")
    ] = 480,
    root: RootPairs = None,
    as_json: AsJson = False,
) -> None:
    """Make frames with graded gains, tints or cues, small, on one contact sheet."""
    varied = read_varied(vary)
    if out.suffix.lower() not in ENDINGS or not out.absolute().parent.is_dir():
        raise WrongUse(
            "the sheet can't be written there",
            place=Place(field="--out", file=str(out)),
            seen=out.suffix or "no ending",
            expected="FILE.jpg or FILE.png in a folder that is there",
            remedy="Name another file.",
        )
    frames = list(dict.fromkeys(frames))
    count = len(frames)
    for each in varied:
        count *= len(each.values)
    if count > MOST_PICTURES:
        raise WrongUse(
            "the sheet would have too many pictures",
            place=Place(field="--vary"),
            seen=f"{count} pictures",
            expected=f"{MOST_PICTURES} at most",
            remedy="Try fewer values or frames.",
        )
    from glimsum_services.cli.local_jobs import only_job  # noqa: PLC0415  # loads the YAML reader
    from glimsum_services.workshop.wedging import (  # noqa: PLC0415  # loads the engine
        WedgeAsked,
        write_wedge,
    )

    settings = read_settings()
    local = only_job(job, settings.roots | read_roots(root))
    made, found = write_wedge(
        local.job,
        WedgeAsked(varied, frames, width, out, job),
        local.roots,
        settings.state_folder / KEPT,
        settings.keep_mib,
        settings.reserve_mib,
    )
    problems = [*local.remarks, *map(local.as_written, found)]
    if as_json:
        shown = [problem_json(each) for each in problems]
        say_json({**made.model_dump(mode="json"), "problems": shown})
        return
    for line in problem_lines(problems):
        say(line)
    for line in _words(made, out):
        say(line)


def pick(
    sheet: Annotated[
        Path, typer.Argument(metavar="SHEET", help="A sheet of `glimsum wedge`, or its FILE.json.")
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
    file = sheet.with_suffix(".json")
    made = _read_sheet(file)
    chosen = _cell(made, cell)
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


def _words(made: "Wedge", out: Path) -> list[str]:
    frames = ", ".join(map(str, made.frames))
    lines = [f"{out}  {made.shot}, frame {frames}, now {', '.join(made.now)}"]
    for each in made.cells:
        lines.append(f"  {each.cell:3d}  {each.words}{'  as it is' if each.as_it_is else ''}")
    picked = next((each.cell for each in made.cells if not each.as_it_is), 1)
    return [*lines, f"to take one: glimsum pick {out} {picked}"]


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
            seen=str(number),
            expected=f"1 to {len(made.cells)}, and other values than the job has",
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
