"""`glimsum wedge`: trials in grades on a sheet, made here or by a service."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from glimsum_jobs.problems import Place
from glimsum_jobs.varied import MOST_PICTURES
from glimsum_services.cli.asking_wedge import ask_service, is_of_service
from glimsum_services.cli.exit_codes import Ending
from glimsum_services.cli.options import (
    DEFAULT_SERVICE,
    AsJson,
    RootPairs,
    Service,
    WrongUse,
    read_roots,
)
from glimsum_services.cli.reaching import read_settings
from glimsum_services.cli.stilling import KEPT
from glimsum_services.cli.telling import problem_json, problem_lines, say, say_json
from glimsum_services.cli.vary_options import read_varied

if TYPE_CHECKING:
    from glimsum_jobs.varied import Varied
    from glimsum_jobs.wedges import Wedge

ENDINGS = (".jpg", ".png")


def wedge(
    job: Annotated[
        Path,
        typer.Argument(
            metavar="JOB",
            help="The job file, made here and now; or SHOT or SHOT/vNNN: made by the service.",
        ),
    ],
    frames: Annotated[list[int], typer.Argument(metavar="FRAME...", help="Shot frames.")],
    *,
    vary: Annotated[
        list[str] | None,
        typer.Option(
            "--vary",
            metavar="NAME=VALUES",
            help="Stops of a step: 'practicals=-1 to 1 by 0.5' or haze=-1,0,out; its tint: "
            "'beauty tint=-40,0,40'; the stops of a cue: 'flash cue 1=-2,-1,0'. NAME#2 is the "
            "second step of that name. Values take the place of the job's own; keyframes are moved "
            "by them, all together. Once or "
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
    service: Service = DEFAULT_SERVICE,
    as_json: AsJson = False,
) -> Ending:
    """Make frames with graded gains, tints or cues, small, on one contact sheet."""
    varied = read_varied(vary)
    elsewhere = is_of_service(job)
    endings = ENDINGS[:1] if elsewhere else ENDINGS
    if out.suffix.lower() not in endings or not out.absolute().parent.is_dir():
        raise WrongUse(
            "the sheet can't be written there",
            place=Place(field="--out", file=str(out)),
            seen=f"a file {out.suffix or 'without ending'}"
            f"{'' if out.absolute().parent.is_dir() else ' in a folder that is not there'}",
            expected=f"FILE{' or FILE'.join(endings)} in a folder that is there"
            f"{'; a service makes JPEG alone' if elsewhere else ''}",
            remedy="Name another file.",
        )
    frames = list(dict.fromkeys(frames))
    count = len(frames)
    for each in varied:
        count *= len(each.values)
    if elsewhere:
        return _of_service(str(job), frames, varied, width, out, service=service, as_json=as_json)
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
        return Ending.DONE
    for line in problem_lines(problems):
        say(line)
    for line in _words(made, out):
        say(line)
    return Ending.DONE


def _of_service(
    shot: str,
    frames: list[int],
    varied: "list[Varied]",
    width: int,
    out: Path,
    *,
    service: str,
    as_json: bool,
) -> Ending:
    made = ask_service(shot, frames, varied, width, out, service=service, as_json=as_json)
    ending = Ending.REFUSED if made.wedge is None else Ending.DONE
    if as_json:
        told = {} if made.wedge is None else made.wedge.model_dump(mode="json")
        shown = [problem_json(each) for each in made.problems]
        say_json({**told, "run": made.run, "state": made.state, "problems": shown})
        return ending
    for line in problem_lines(made.problems):
        say(line)
    if made.wedge is None:
        say(f"{made.run}  {made.state}: no sheet was made")
        return ending
    for line in _words(made.wedge, out):
        say(line)
    return ending


def _words(made: "Wedge", out: Path) -> list[str]:
    frames = ", ".join(map(str, made.frames))
    several = "s" if len(made.frames) > 1 else ""
    lines = [f"{out}  {made.shot}, frame{several} {frames}, now {', '.join(made.now)}"]
    for each in made.cells:
        lines.append(f"  {each.cell:3d}  {each.words}{'  as it is' if each.as_it_is else ''}")
    picked = next((each.cell for each in made.cells if not each.as_it_is), 1)
    return [*lines, f"to take one: glimsum pick {out} {picked}"]
