"""Folders that are made where the command line names them."""

from pathlib import Path

from glimsum_jobs.errors import OutputError
from glimsum_jobs.problems import Place

MEASUREMENTS_GO = "Name another folder; measurements go where GLIMSUM_STATE_FOLDER says."


def make_folder(folder: Path, what: str, remedy: str = MEASUREMENTS_GO) -> None:
    """Make a folder if it is absent; OutputError says what can't be done without it."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(
            what,
            place=Place(file=str(folder)),
            seen=error.strerror or str(error),
            expected="a folder we may write",
            remedy=remedy,
        ) from error
