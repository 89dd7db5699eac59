"""`glimsum rerun`: the next version of a shot, with other gains, tints and cues."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from glimsum_jobs.orders import is_wedge
from glimsum_jobs.problems import Place
from glimsum_services.cli.exit_codes import Ending
from glimsum_services.cli.following import choose_view, follow
from glimsum_services.cli.options import DEFAULT_SERVICE, AsJson, Service, WrongUse
from glimsum_services.cli.plan_words import plan_lines
from glimsum_services.cli.reaching import reach
from glimsum_services.cli.step_options import read_frames, read_step_changes
from glimsum_services.cli.telling import problem_lines, say, say_json
from glimsum_services.cli.troubles import tell_troubles

if TYPE_CHECKING:
    from glimsum_jobs.frame_ranges import FrameRange
    from glimsum_jobs.step_changes import StepChange
    from glimsum_services.client import Client

Stops = Annotated[
    list[str] | None,
    typer.Option(
        "--stops",
        metavar="NAME=STOPS",
        help="Gain of a pass, an insert or an element: practicals=-0.5, =out, or keyframes "
        "=1003:out,1006:1. NAME#2 is the second step of that name. Several allowed.",
    ),
]
Tint = Annotated[
    list[str] | None,
    typer.Option("--tint", metavar="NAME=MIRED", help="Tint of its lamp, + is warmer."),
]
CueChange = Annotated[
    list[str] | None,
    typer.Option(
        "--cue",
        metavar="NAME=CUE,...",
        help="A cue, new or changed: flash=3,frame=1041,stops=1,up=1,down=4; or flash=3,remove.",
    ),
]


def rerun(
    run: Annotated[
        str,
        typer.Argument(
            metavar="SHOT", help="A shot (its newest version is changed), or SHOT/vNNN."
        ),
    ],
    *,
    stops: Stops = None,
    tint: Tint = None,
    cue: CueChange = None,
    changes: Annotated[
        Path | None,
        typer.Option(
            "--changes",
            metavar="FILE",
            help="Any other changes of the job, YAML or JSON (merge patch, RFC 7396).",
        ),
    ] = None,
    frames: Annotated[
        str | None,
        typer.Option(
            "--frames", metavar="FIRST-LAST", help="Make these frames only; everything is measured."
        ),
    ] = None,
    no_reuse: Annotated[
        bool, typer.Option("--no-reuse", help="Combine every frame anew, take none over.")
    ] = False,
    plan: Annotated[
        bool,
        typer.Option("--plan", help="Only tell what would be combined, taken over and measured."),
    ] = False,
    wait: Annotated[bool, typer.Option("--wait", help="Follow the run until it ends.")] = False,
    priority: Annotated[
        int, typer.Option("--priority", min=0, max=100, help="100 is the most urgent.")
    ] = 50,
    service: Service = DEFAULT_SERVICE,
    as_json: AsJson = False,
) -> Ending:
    """Make the next version of a shot: only frames that a change touches are combined."""
    asked = read_step_changes(stops, tint, cue)
    only = read_frames(frames)
    patch = {} if changes is None else _read_patch(changes)
    with reach(service) as client:
        named = client.full_name(run)
        shot, _, version = named.partition("/v")
        if is_wedge(named):
            raise WrongUse(
                "a wedge is no version",
                place=Place(field="SHOT"),
                seen=named,
                expected="SHOT or SHOT/vNNN",
                remedy="A cell of a wedge becomes a version with `glimsum pick SHEET CELL`.",
            )
        if asked:
            patch["recipe"] = _recipe(client, named, patch, asked)
        query = _query(version, only, reuse=not no_reuse)
        if plan:
            told = client.ask("POST", f"/shots/{shot}/plan", json=patch, params=query)
            return _tell_plan(told, as_json=as_json)
        # Asked for without a change: its files may be others, so the same job is made again.
        query |= {"priority": priority, "again": str(not patch).lower()}
        taken = client.ask("POST", f"/shots/{shot}/versions", json=patch, params=query)
        return tell_taken(client, taken, wait=wait, as_json=as_json)


def _read_patch(file: Path) -> dict[str, Any]:
    from glimsum_services.job_file import parse_text  # noqa: PLC0415  # loads the YAML reader

    try:
        data = file.read_bytes()
    except OSError as error:
        raise _no_patch(file, error.strerror or str(error)) from error
    tree, _, _ = parse_text(data, "json" if file.suffix == ".json" else "yaml")
    if not isinstance(tree, dict):
        raise _no_patch(file, type(tree).__name__)
    return tree


def _no_patch(file: Path, seen: str) -> WrongUse:
    return WrongUse(
        "the changes can't be read",
        place=Place(field="--changes", file=str(file)),
        seen=seen,
        expected="a file with fields of the job and their new values",
        remedy="Write for example {rate: 25}.",
    )


def _recipe(
    client: "Client", run: str, patch: dict[str, Any], asked: list["StepChange"]
) -> list[dict[str, Any]]:
    """Return the recipe of a version with steps changed; of the patch, if that has one."""
    from glimsum_jobs.step_changes import change_steps  # noqa: PLC0415  # not needed by `--help`
    from glimsum_services.submit import change_job  # noqa: PLC0415  # the same

    job, _ = change_job(client.job(run), patch)
    return change_steps(job, asked)


def _query(version: str, only: "FrameRange | None", *, reuse: bool) -> dict[str, Any]:
    frames = {} if only is None else {"first": only.first, "last": only.last}
    return {"earlier": int(version), "reuse": str(reuse).lower(), **frames}


def _tell_plan(told: dict[str, Any], *, as_json: bool) -> Ending:
    if as_json:
        say_json(told)
    else:
        for line in plan_lines(told):
            say(line)
    return Ending.DONE


def tell_taken(client: "Client", taken: dict[str, Any], *, wait: bool, as_json: bool) -> Ending:
    """Tell what a new version became, and follow it if asked."""
    from glimsum_services.client import problem_of  # noqa: PLC0415  # loads httpx
    from glimsum_services.run_stream import follow_runs  # noqa: PLC0415  # the same

    (made,) = taken["shots"]
    if as_json:
        say_json({"page": client.page, "runs": [made], "changes": taken["changes"],
                  "remarks": taken["remarks"]}, one_line=True)  # fmt: skip
    else:
        for line in problem_lines(problem_of(each) for each in taken["remarks"]):
            say(line)
        words = "" if made["new"] else "  the same job as before: this version stands"
        say(f"{made['run']}  {made['folder']}{words}")
        for each in taken["changes"]:
            say(f"  {each}")
        say(f"page: {client.page}")
    if not wait:
        return Ending.DONE
    last = follow(follow_runs(client, [made["run"]]), choose_view(as_json=as_json))
    tell_troubles(client, last, as_json=as_json)
    return Ending.DONE if all(run.whole for run in last) else Ending.REFUSED
