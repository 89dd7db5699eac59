"""`glimsum cues`: the cue sheet of a shot, to read or to edit as a table."""

import os
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from glimsum_jobs.problems import Place
from glimsum_services.cli.options import AsJson, WrongUse
from glimsum_services.cli.tables import table_lines
from glimsum_services.cli.telling import problem_json, problem_lines, say, say_json

if TYPE_CHECKING:
    from glimsum_jobs.flash_limits import WorstSecond
    from glimsum_jobs.shot import ShotJob


def cues(
    job: Annotated[Path, typer.Argument(metavar="JOB", help="The job file.")],
    *,
    csv: Annotated[
        Path | None,
        typer.Option("--csv", metavar="FILE", help="Write the sheet as comma separated values."),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Print the cue sheet of all steps of a shot, and its flashes as the cues alone predict."""
    if csv is not None and (csv.exists() or not csv.absolute().parent.is_dir()):
        raise WrongUse(
            "the cue sheet is not written there",
            place=Place(field="--csv", file=str(csv)),
            seen="a file of that name" if csv.exists() else "no such folder",
            expected="a new file in a folder that is there",
            remedy="Name another file, or move this one away.",
        )
    from glimsum_jobs.cue_checks import predict_flashes  # noqa: PLC0415  # loads the format
    from glimsum_services.job_file import read_job_file  # noqa: PLC0415  # loads the YAML reader

    asked = read_job_file(job)
    if len(asked.jobs) != 1:
        raise WrongUse(
            "this file holds several jobs",
            place=Place(file=str(job)),
            seen=", ".join(each.shot for each in asked.jobs),
            expected="a file with one job",
            remedy="Name the file of the shot itself.",
        )
    shot = asked.jobs[0]
    if csv is not None:
        _write(shot, csv)
    worst = predict_flashes(shot)
    if as_json:
        problems = [problem_json(each) for each in asked.remarks]
        say_json({**_sheet_json(shot, worst), "csv": csv and str(csv), "problems": problems})
        return
    for line in problem_lines([*asked.remarks]):
        say(line)
    _tell(shot, worst)
    if csv is not None:
        say(f"written to {csv}")


def _tell(job: "ShotJob", worst: "WorstSecond | None") -> None:
    rows = [
        (number, step.label, cue.number, cue.frame, f"{cue.stops:+.2f}", cue.up, cue.down,
         "" if cue.source is None else cue.source)
        for number, step in enumerate(job.recipe or (), 1)
        for cue in step.cues or ()
    ]  # fmt: skip
    if not rows:
        say(f"{job.shot} has no cues")
        return
    heading = ("step", "of", "cue", "frame", "stops", "up", "down", "source")
    say(f"{job.shot}, frames {job.frames.first} to {job.frames.last}, {job.rate} a second")
    for line in table_lines(heading, rows):
        say(f"  {line}")
    if worst is None:
        return
    frames = f", frames {', '.join(map(str, worst.frames))}" if worst.frames else ""
    say(f"flashes in the worst second, by the cues alone: {worst.flashes}{frames}")


def _sheet_json(job: "ShotJob", worst: "WorstSecond | None") -> dict[str, Any]:
    steps = [
        {
            "step": number,
            "of": step.label,
            "fade": step.fade,
            "cues": [cue.model_dump(mode="json") for cue in step.cues],
        }
        for number, step in enumerate(job.recipe or (), 1)
        if step.cues is not None
    ]
    frames = {"first": job.frames.first, "last": job.frames.last, "rate": job.rate}
    predicted = None
    if worst is not None:
        predicted = {"flashes": worst.flashes, "frames": list(worst.frames)}
    return {"shot": job.shot, "frames": frames, "steps": steps, "worst_second": predicted}


def _write(job: "ShotJob", file: Path) -> None:
    """Write the sheet whole, or leave nothing."""
    from glimsum_services.job_text.cue_sheets import write_cue_sheet  # noqa: PLC0415  # only here

    steps = [
        (number, step.label, step.cues)
        for number, step in enumerate(job.recipe or (), 1)
        if step.cues is not None
    ]
    temp = file.with_name(f".{file.name}.{os.getpid()}")
    try:
        temp.write_text(write_cue_sheet(steps), "utf-8", newline="")
        temp.replace(file)
    except OSError as error:
        raise WrongUse(
            "the cue sheet can't be written",
            place=Place(field="--csv", file=str(file)),
            seen=error.strerror or str(error),
            expected="a new file in a folder with room that may be written to",
            remedy="Name another file.",
        ) from error
    finally:
        temp.unlink(missing_ok=True)
