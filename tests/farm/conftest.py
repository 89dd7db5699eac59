"""What the tests of the farm share: a service whose work leaves traces outside the ledger."""

import os
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from farm.work_for_tests import FOLDER, keep_order
from glimsum_jobs.ledger import ItemRecord, RunRecord, Stage
from glimsum_services.connections import Connections, open_connections
from glimsum_services.embedded import EmbeddedService
from glimsum_services.settings import Settings
from support.service import TESTS, program, quick_settings, running_service

WORKER = program(str(TESTS / "farm" / "work_for_tests.py"))
API = "farm.small_api:create_app"


def wait_until(met: Callable[[], bool], seconds: float, what: str) -> float:
    """Wait for `met`; return how long it took, fail with `what` if it takes too long."""
    begun = time.monotonic()
    while not met():
        assert time.monotonic() - begun < seconds, f"after {seconds} s still not: {what}"
        time.sleep(0.03)
    return time.monotonic() - begun


@dataclass
class Floor:
    """A running service and what its work leaves behind."""

    folder: Path
    settings: Settings
    service: EmbeddedService
    link: Connections

    def submit(self, run: str, **wishes: Any) -> None:
        keep_order(self.folder, run, **wishes)
        self.link.ledger.open(run)

    def record(self, run: str) -> RunRecord:
        record = self.link.ledger.record(run)
        assert record is not None
        return record

    def frames(self, run: str) -> list[ItemRecord]:
        return self.link.ledger.items(run, Stage.COMBINE)

    def working(self, run: str) -> list[int]:
        """Return the process ids that hold a frame now."""
        held = [item.worker for item in self.frames(run) if item.worker and not item.result]
        return [int(worker.rpartition("/")[2]) for worker in held]

    def wait_for_end(self, run: str, seconds: float = 40.0) -> RunRecord:
        wait_until(lambda: self.record(run).ended is not None, seconds, f"{run} has ended")
        return self.record(run)

    def begun(self, run: str) -> Counter[str]:
        """Return how often each frame was begun, as the work itself wrote it down."""
        file = self.folder / "begun"
        lines = file.read_text().splitlines() if file.exists() else []
        start = f"{run.replace('/', '_')}.combine."
        names = [line.split()[0] for line in lines if line.startswith(start)]
        return Counter(name.removeprefix(start) for name in names)

    def finished(self, run: str) -> set[str]:
        """Return the frames whose file is there, whole."""
        start = f"{run.replace('/', '_')}.combine."
        files = list(self.folder.glob(f"{start}*.out"))
        assert all(file.read_text() == f"{file.name.removesuffix('.out')}\n" for file in files)
        return {file.name.removeprefix(start).removesuffix(".out") for file in files}


@contextmanager
def service_floor(folder: Path, **given: Any) -> Iterator[Floor]:
    settings = quick_settings(folder, **given)
    os.environ[FOLDER] = str(folder)
    with running_service(settings, api=API, worker=WORKER) as service:
        link = open_connections(settings.model_copy(update={"broker": service.broker}))
        try:
            yield Floor(folder, settings, service, link)
        finally:
            link.client.close()


@pytest.fixture(scope="module")
def floor(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Floor]:
    with service_floor(tmp_path_factory.mktemp("floor")) as made:
        yield made


@pytest.fixture
def tell(capsys: pytest.CaptureFixture[str]) -> Callable[[str], None]:
    """Return what prints a figure, whether the test passes or not."""

    def say(words: str) -> None:
        with capsys.disabled():
            sys.stdout.write(f"\n  {words}\n")

    return say


def descendants(process: int) -> set[int]:
    """Return the ids of all processes below `process` (Linux)."""
    parents: dict[int, int] = {}
    for entry in Path("/proc").iterdir():
        if entry.name.isdecimal():
            try:
                fields = (entry / "stat").read_text().rpartition(")")[2].split()
            except OSError:
                continue
            if fields[0] != "Z":
                parents[int(entry.name)] = int(fields[1])
    found: set[int] = set()
    level = {process}
    while level:
        level = {child for child, parent in parents.items() if parent in level}
        found |= level
    return found


def alive(processes: set[int]) -> set[int]:
    """Return those that still run; one that only waits to be asked for its code does not."""
    found = set()
    for process in processes:
        try:
            state = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[0]
        except OSError:
            continue
        if state != "Z":
            found.add(process)
    return found
