"""The real worker, which also writes down how many frames of clips each item made it decode."""

import os
import time
from pathlib import Path
from typing import Any

from glimsum_jobs.ledger import Claim
from glimsum_jobs.orders import RunOrder
from glimsum_services.connections import open_connections
from glimsum_services.farm import run_worker
from glimsum_services.settings import load_settings
from glimsum_workers.celery_tasks import StillMine
from glimsum_workers.frames import sources
from glimsum_workers.frames.clips import Clip
from glimsum_workers.frames.roots import Roots
from glimsum_workers.perform import Performer

FOLDER = "GLIMSUM_TEST_FOLDER"
DECODED = "decoded"
"""File with a line for each item: stage, item, process, frames decoded for it."""

OPENED: list[Clip] = []


class CountedClip(Clip):
    """A clip that is remembered after it is closed, for what it decoded."""

    def __init__(self, descriptor: int, file: str) -> None:
        super().__init__(descriptor, file)
        OPENED.append(self)


class CountingPerformer:
    """Does items as a worker does and writes down what they made it decode."""

    def __init__(self, performer: Performer, folder: Path) -> None:
        self._performer = performer
        self._folder = folder
        self._told = 0

    def __call__(self, order: RunOrder, claim: Claim, still_mine: StillMine) -> dict[str, Any]:
        result = self._performer(order, claim, still_mine)
        time.sleep(0.05)  # small pictures: else the ledger's answers take as long as the work
        total = sum(clip.decoded for clip in OPENED)
        with (self._folder / DECODED).open("a") as out:
            out.write(f"{claim.stage} {claim.item} {os.getpid()} {total - self._told}\n")
        self._told = total
        return result


def main() -> None:
    """Work with the settings of the environment."""
    settings = load_settings(os.environ)
    setattr(sources, "Clip", CountedClip)  # noqa: B010  # the same clip, and it is counted
    farm = open_connections(settings)
    performer = Performer(farm.ledger, Roots(settings.roots), "counted")
    run_worker(settings, perform=CountingPerformer(performer, Path(os.environ[FOLDER])))


if __name__ == "__main__":
    main()
