"""A running service with the real work: pictures in, masters out, asked over HTTP as people do."""

import json
from collections import Counter
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any

from farm.conftest import wait_until
from glimsum_jobs.ledger import ItemRecord, ItemState, RunRecord, Stage
from glimsum_jobs.shot import ShotJob
from glimsum_services.client import Client
from glimsum_services.connections import Connections, open_connections
from glimsum_services.embedded import EmbeddedService
from glimsum_services.settings import Settings
from support.service import quick_settings, running_service
from support.small_shots import exr_pass, grain, small_shot, write_exr_pass

HEIGHT, WIDTH = 270, 480
PASSES = ("key", "fill")


@dataclass
class RealFloor:
    """The service and how it is asked."""

    settings: Settings
    service: EmbeddedService
    client: Client
    link: Connections

    def submit(self, job: ShotJob) -> str:
        [sent] = self.client.submit([job])
        return sent.run

    def record(self, run: str) -> RunRecord:
        record = self.link.ledger.record(run)
        assert record is not None
        return record

    def done(self, run: str) -> int:
        counts = self.record(run).counts.get(Stage.COMBINE)
        return counts.done if counts else 0

    def frames(self, run: str) -> list[ItemRecord]:
        return self.link.ledger.items(run, Stage.COMBINE)

    def set_aside(self, run: str) -> dict[str, ItemRecord]:
        return {i.item: i for i in self.frames(run) if i.state is ItemState.SET_ASIDE}

    def wait_for_end(self, run: str, seconds: float = 120.0) -> RunRecord:
        wait_until(lambda: self.record(run).ended is not None, seconds, f"{run} has ended")
        return self.record(run)

    def wait_for_words(self, run: str, words: str, seconds: float = 20.0) -> float:
        """Wait until `run` says that it waits for something; return how long it took."""
        return wait_until(
            lambda: words in self.record(run).waits_for, seconds, f"{run} waits for {words!r}"
        )


@contextmanager
def real_floor(folder: Path, roots: Mapping[str, Path], **given: Any) -> Iterator[RealFloor]:
    for each in roots.values():
        each.mkdir(parents=True, exist_ok=True)
    settings = quick_settings(folder, roots=dict(roots), **given)
    with running_service(settings) as service:
        link = open_connections(settings.model_copy(update={"broker": service.broker}))
        try:
            with Client(service.url) as client:
                yield RealFloor(settings, service, client, link)
        finally:
            link.client.close()


def make_plates(folder: Path, frames: int, height: int = HEIGHT, width: int = WIDTH) -> Path:
    """Write two passes of `frames` pictures each and return the root they lie in."""
    folder.mkdir(exist_ok=True)
    for seed, name in enumerate(PASSES):
        numbers = range(1, frames + 1)
        write_exr_pass(folder, name, {n: grain(1000 * seed + n, height, width) for n in numbers})
    return folder


def job(frames: int, shot: str = "small", **changes: Any) -> ShotJob:
    passes = {name: exr_pass(name) for name in PASSES}
    span = {"first": 1001, "last": 1000 + frames}
    return small_shot(shot=shot, passes=passes, frames=span, output=f"out:{shot}", **changes)


def masters(out: Path, run: str) -> dict[str, str]:
    """Return the SHA-256 of every master of a run, by name."""
    found = sorted((out / run / "master").glob("*.exr"))
    return {path.name: sha256(path.read_bytes()).hexdigest() for path in found}


def made(out: Path, run: str) -> Counter[str]:
    """Return how often each frame was made, from the line files of the version."""
    lines = [
        json.loads(line)
        for path in (out / run / "lines").glob("*.jsonl")
        for line in path.read_text().splitlines()
    ]
    return Counter(line["item"] for line in lines if line["stage"] == "combine")
