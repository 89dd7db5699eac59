"""`glimsum still`: one frame of a job now, without a service."""

from pathlib import Path
from typing import Annotated

import typer

from glimsum_jobs.problems import Place
from glimsum_services.cli.options import AsJson, RootPairs, WrongUse, read_roots
from glimsum_services.cli.reaching import read_settings
from glimsum_services.cli.telling import problem_json, problem_lines, say, say_json

ENDINGS = {".exr": "scene-linear light", ".jpg": "to look at", ".png": "to look at"}
KEPT = "stills"
"""Folder of kept measurements inside the state folder."""


def still(
    job: Annotated[Path, typer.Argument(metavar="JOB", help="The job file.")],
    frame: Annotated[int, typer.Argument(metavar="FRAME", help="Number of the shot frame.")],
    *,
    out: Annotated[
        Path,
        typer.Option(
            "--out", help="FILE.exr for scene-linear light; FILE.jpg or FILE.png to look at."
        ),
    ],
    matte: Annotated[
        str | None, typer.Option("--matte", metavar="NAME", help="Show a matte of the frame.")
    ] = None,
    steps: Annotated[
        bool, typer.Option("--steps", help="A contact sheet: each step alone, and so far.")
    ] = False,
    root: RootPairs = None,
    as_json: AsJson = False,
) -> None:
    """Make one frame now, here, without a service."""
    if out.suffix.lower() not in ENDINGS or not out.absolute().parent.is_dir():
        raise WrongUse(
            "the still can't be written there",
            place=Place(field="--out", file=str(out)),
            seen=out.suffix or "no ending",
            expected="FILE.exr, FILE.jpg or FILE.png in a folder that is there",
            remedy="Name another file.",
        )
    if steps and (matte is not None or out.suffix.lower() == ".exr"):
        raise WrongUse(
            "a sheet of steps is a picture of the whole recipe",
            place=Place(field="--steps"),
            seen="--matte" if matte is not None else out.suffix,
            expected="--steps with FILE.jpg or FILE.png, and no --matte",
            remedy="Make two stills.",
        )
    from glimsum_services.cli.local_jobs import only_job  # noqa: PLC0415  # loads the YAML reader
    from glimsum_services.workshop import stilling  # noqa: PLC0415  # loads the engine

    settings = read_settings()
    local = only_job(job, settings.roots | read_roots(root))
    frames = local.job.frames
    if not frames.first <= frame <= frames.last:
        raise WrongUse(
            f"shot {local.job.shot} has no such frame",
            place=Place(shot=local.job.shot, frame=frame),
            seen=str(frame),
            expected=f"{frames.first} to {frames.last}",
            remedy="Name a frame of the shot.",
        )
    keep = settings.state_folder / KEPT
    if steps:
        found = stilling.write_steps(local.job, frame, local.roots, out, keep)
    elif matte is not None:
        found = stilling.write_matte(local.job, matte, frame, local.roots, out, keep)
    else:
        found = stilling.write_still(local.job, frame, local.roots, out, keep)
    problems = [*local.remarks, *map(local.as_written, found)]
    if as_json:
        shown = [problem_json(each) for each in problems]
        say_json({"file": str(out), "frame": frame, "kept": str(keep), "problems": shown})
        return
    for line in problem_lines(problems):
        say(line)
    what = "step by step" if steps else ENDINGS[out.suffix.lower()]
    what = f"matte {matte}" if matte is not None else what
    say(f"{out}  frame {frame}, {what}")
    say(f"what was measured for it is kept in {keep} for the next still")
