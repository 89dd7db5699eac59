"""Makes the demo's folder: passes as they came from the camera, elements, and jobs beside them."""

import os
import shutil
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path

from glimsum_jobs.errors import OutputError
from glimsum_jobs.problems import Place

JOB_FILE = "harbour_010.yaml"
FULL_JOB_FILE = "harbour_020.yaml"
"""Takes drawn from these passes, and everything a recipe can do; see `workshop.drawing_takes`."""
FOLDERS = ("passes", "elements")


def make_demo(folder: Path) -> Path:
    """Put passes, elements and jobs of the demo into `folder`; return the job that it makes.

    What is there already stays: a job that a person has changed is not written over, and a pass
    of the same size is not copied again.

    Raises
    ------
    OutputError
        The folder can't be written; no half copied file is left.
    """
    packaged = files("glimsum_services.demo")
    try:
        for name in FOLDERS:
            _copy(packaged / name, folder / name)
        for name in (JOB_FILE, FULL_JOB_FILE):
            if not (folder / name).exists():
                _copy(packaged / name, folder / name)
    except OSError as error:
        raise OutputError(
            "the demo can't be put there",
            place=Place(file=str(error.filename or folder)),
            seen=error.strerror or str(error),
            expected="a folder we may write, with 40 MiB free",
            remedy="Name another folder with --folder.",
        ) from error
    return folder / JOB_FILE


def _copy(source: Traversable, target: Path) -> None:
    if source.is_dir():
        target.mkdir(parents=True, exist_ok=True)
        for each in source.iterdir():
            _copy(each, target / each.name)
        return
    with source.open("rb") as packed:
        size = os.fstat(packed.fileno()).st_size
        if target.exists() and target.stat().st_size == size:
            return
        part = target.with_name(f"{target.name}.part")
        try:
            with part.open("wb") as out:
                shutil.copyfileobj(packed, out)
            part.replace(target)
        finally:
            part.unlink(missing_ok=True)
