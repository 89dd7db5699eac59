"""A job file with changes made to its recipe; comments and all the rest stay as they are."""

import json
import os
from collections.abc import Sequence
from contextlib import suppress
from errno import EEXIST
from io import StringIO
from pathlib import Path
from typing import Any

from ruamel.yaml import YAML

from glimsum_jobs.errors import JobError, OutputError
from glimsum_jobs.problems import Place
from glimsum_jobs.reading import read_shot
from glimsum_jobs.shot import ShotJob
from glimsum_jobs.step_changes import StepChange, change_steps, find_step
from glimsum_services.job_file import read_job_file
from glimsum_services.service_errors import ServiceFailed

_WIDTH = 120


def write_changed_job(file: Path, changes: Sequence[StepChange], out: Path) -> None:
    """Write a job file with changes beside the one it is made from.

    Parameters
    ----------
    file : Path
        A job file with one job, YAML or JSON.
    changes : sequence of StepChange
        Made to its recipe.
    out : Path
        In the same folder, since paths in a job are named from there; not there yet.

    Raises
    ------
    JobError
        The job can't be read, or has no such steps.
    OutputError
        The file holds several jobs, there is a file of that name, or it can't be written.
    """
    job = _only_job(file)
    if out.parent.resolve() != file.parent.resolve():
        raise OutputError(
            "a changed job belongs beside the one it is made from",
            place=Place(file=str(out)),
            seen=str(out.parent.resolve()),
            expected=f"{file.parent.resolve()}, from where its paths are named",
            remedy="Name a file in that folder with --out.",
        )
    recipe = change_steps(job, changes)
    text = _changed_text(file, [(find_step(job, each), each) for each in changes], recipe)
    temp = out.with_name(f".{out.stem}.{os.getpid()}.part{out.suffix}")
    try:
        if out.exists():
            raise FileExistsError(EEXIST, "a file of this name is there")
        temp.write_text(text, encoding="utf-8")
        if not _is_right(temp, job, recipe):
            raise ServiceFailed(
                "the changed job did not come out as it should and is not kept",
                place=Place(file=str(file)),
                seen="another job when read again",
                expected="the same job with other values",
                remedy="Change the values by hand, and report this.",
            )
        temp.replace(out)
    except OSError as error:
        raise OutputError(
            "the changed job can't be written",
            place=Place(file=str(out)),
            seen=error.strerror or str(error),
            expected="a new file",
            remedy="Name another file with --out.",
        ) from error
    finally:
        with suppress(OSError):
            temp.unlink(missing_ok=True)


def _is_right(file: Path, job: ShotJob, recipe: list[dict[str, Any]]) -> bool:
    """Return whether a written job is the old one with a new recipe."""
    try:
        made = _only_job(file)
    except JobError:
        return False
    tree = job.model_dump(mode="json", by_alias=True, exclude_none=True)
    wanted = read_shot({**tree, "recipe": recipe})[0]
    rest = {"recipe"}
    return made.steps == wanted.steps and (
        made.model_dump(exclude=rest) == job.model_dump(exclude=rest)
    )


def _only_job(file: Path) -> ShotJob:
    asked = read_job_file(file)
    if len(asked.jobs) != 1 or asked.sequence is not None:
        raise OutputError(
            "this file holds more than the job of one shot",
            place=Place(file=str(file)),
            seen=", ".join(job.shot for job in asked.jobs),
            expected="the job file of one shot",
            remedy="Change the recipe in the file itself.",
        )
    return asked.jobs[0]


def _changed_text(
    file: Path, changes: Sequence[tuple[int, StepChange]], recipe: list[dict[str, Any]]
) -> str:
    text = file.read_text(encoding="utf-8-sig")
    is_json = file.suffix.lower() == ".json"
    yaml = YAML(typ="rt")
    yaml.preserve_quotes = True
    yaml.width = _WIDTH
    yaml.indent(mapping=2, sequence=4, offset=2)
    tree = json.loads(text) if is_json else yaml.load(text)
    if isinstance(tree.get("recipe"), list):
        for place, change in changes:
            tree["recipe"][place][change.field] = recipe[place][change.field]
    else:
        tree["recipe"] = recipe
    if is_json:
        return json.dumps(tree, indent=2, ensure_ascii=False) + "\n"
    written = StringIO()
    yaml.dump(tree, written)
    return written.getvalue()
