"""The real worker, which also notes where each of its processes stands, for a soak that kills it.

A note is one record in a file a process: run, stage, item, token, and how far: ``begun``,
``reading`` (the first file is opened), ``ended`` (the work has returned, all is renamed).
"""

import os
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from glimsum_jobs.ledger import Claim, Control
from glimsum_jobs.orders import RunOrder
from glimsum_jobs.paths import RootPath
from glimsum_services.connections import open_connections
from glimsum_services.farm import run_worker
from glimsum_services.machine_name import MachineName
from glimsum_services.settings import load_settings
from glimsum_workers.frames.roots import Roots
from glimsum_workers.perform import Performer

NOTES = "GLIMSUM_TEST_NOTES"
_BYTES = 256


@dataclass(frozen=True)
class Note:
    """Where a process stands."""

    run: str
    stage: str
    item: str
    token: str
    far: str


def read_note(folder: Path, process: int) -> Note | None:
    """Return the last note of a process; None where it never had an item."""
    try:
        parts = (folder / str(process)).read_text().split()
    except FileNotFoundError:
        return None
    return Note(*parts) if len(parts) == 5 else None


class Notebook:
    """Writes the notes of this process, whichever it is after a fork."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._process = 0
        self._file = -1
        self._note: Note | None = None

    def begin(self, claim: Claim) -> None:
        self._write(Note(claim.run, claim.stage, claim.item, str(claim.token), "begun"))

    def go_to(self, far: str) -> None:
        if self._note is not None and self._note.far not in (far, "ended"):
            note = self._note
            self._write(Note(note.run, note.stage, note.item, note.token, far))

    def _write(self, note: Note) -> None:
        if self._process != os.getpid():
            self._process = os.getpid()
            self._file = os.open(self._folder / str(self._process), os.O_WRONLY | os.O_CREAT)
        words = f"{note.run} {note.stage} {note.item} {note.token} {note.far}"
        os.pwrite(self._file, words.ljust(_BYTES).encode(), 0)
        self._note = note


class NotingRoots(Roots):
    """Notes the first file that is opened for reading."""

    def __init__(self, folders: dict[str, Path], notes: Notebook) -> None:
        super().__init__(folders)
        self._notes = notes

    def open_file(self, path: RootPath) -> int:
        descriptor = super().open_file(path)
        self._notes.go_to("reading")
        return descriptor


def main() -> None:
    settings = load_settings(os.environ)
    notes = Notebook(Path(os.environ[NOTES]))
    farm = open_connections(settings)
    name = MachineName(settings.state_folder)
    work = Performer(farm.ledger, NotingRoots(settings.roots, notes), name.name)
    name.close()

    def perform(order: RunOrder, claim: Claim, still_mine: Callable[[], Control]) -> dict[str, Any]:
        notes.begin(claim)
        left = work(order, claim, still_mine)
        notes.go_to("ended")
        return left

    sys.stderr.write("worker for the soak\n")
    run_worker(settings, perform=perform)


if __name__ == "__main__":
    main()
