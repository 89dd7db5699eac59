"""`glimsum draft`: from the folders of a shot, or a camera card, to a starter job."""

import os
import shlex
from pathlib import Path
from typing import Annotated

import typer

from glimsum_jobs.problems import Place
from glimsum_services.cli.options import AsJson, WrongUse
from glimsum_services.cli.telling import say, say_json


def draft(
    folder: Annotated[
        Path, typer.Argument(metavar="FOLDER", help="Folders of passes, or one camera card.")
    ],
    *,
    out: Annotated[
        Path | None,
        typer.Option("--out", help="The job file; default: SHOT.yaml beside the folder."),
    ] = None,
    shot: Annotated[
        str, typer.Option("--shot", help="Name of the shot; default: the folder's.")
    ] = "",
    as_json: AsJson = False,
) -> None:
    """Write a starter job with its open questions, and a contact sheet for every pass."""
    if not folder.is_dir():
        raise WrongUse(
            "there is no such folder",
            place=Place(field="FOLDER"),
            seen=str(folder),
            expected="a folder with the passes of a shot, or a camera card",
            remedy="Correct the path.",
        )
    place = out or folder.resolve().parent / f"{shot or folder.resolve().name}.yaml"
    if place.exists():
        raise WrongUse(
            "the job file is there already and is not written over",
            place=Place(file=str(place)),
            seen="a file",
            expected="no file of that name",
            remedy="Name another one with --out, or move it away.",
        )
    from glimsum_services.workshop.drafting import draft_here  # noqa: PLC0415  # loads the engine

    near = os.path.relpath(folder.resolve(), place.resolve().parent)
    made = draft_here(folder, place, shot=shot, before_path="" if near == "." else f"{near}/")
    if as_json:
        questions = [{"field": each.field, "question": each.text} for each in made.questions]
        say_json(
            {"job": str(place), "sheets": [str(s) for s in made.sheets], "questions": questions}
        )
        return
    say(f"job     {place}")
    for sheet in made.sheets:
        say(f"sheet   {sheet}")
    say(f"{len(made.questions)} questions to answer in the job:")
    for question in made.questions:
        say(f"  {question.field}: {question.text}")
    say("answer each in the line below it, delete its line with # ?, then type:")
    say(f"  glimsum check {shlex.quote(str(place))}")
