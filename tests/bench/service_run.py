"""A shot made by the whole service: its speed, and where the processor time goes.

The service is the one a person starts, with the settings a person has: API, server of queue and
ledger with its file on disk, Celery worker with so many slots. One client submits and follows.
"""

import json
import time
from collections import defaultdict
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from bench import frame_material as material
from bench.machine_use import Watch, children_of, cpu_of_s, peak_mb
from bench.rates import Spans
from glimsum_services.client import Client
from glimsum_services.embedded import EmbeddedService
from glimsum_services.run_stream import follow_runs
from glimsum_services.run_view import RunView
from glimsum_services.settings import load_settings

PARTS = {
    "slots": "slots (Celery's worker processes)",
    "worker": "their parent (Celery, dispatcher, beats)",
    "server": "broker and ledger",
    "api": "API and its events",
    "here": "supervisor, and the client that follows",
}
PHASES = ("before", "combine", "finish")
"""Of a run; *before* the frames come check, measure and solve."""
MOST_WARM_UPS = 4

Cpu = Mapping[str, float]
"""Processor time by part, s."""


@dataclass(frozen=True)
class ServiceRun:
    """What became of one shot."""

    frames: int
    spans: Spans
    digests: set[str]
    cpu: dict[str, Cpu]
    """By phase."""
    slot_peaks: list[float]
    """Peak memory of each slot since it began, MB."""
    others: float
    """Cores used by others."""


@dataclass(frozen=True)
class Floor:
    """A running service that is asked as people ask."""

    service: EmbeddedService
    client: Client
    plates: Path
    out: Path

    def make(self, shot: str, count: int) -> ServiceRun:
        """Submit a shot of the material and follow it to its end."""
        material.lengthen(self.plates, count)
        watch, seen = Watch(), {"before": self.cpu()}
        [sent] = self.client.submit([material.make_job("none", count, shot)])
        last: RunView | None = None
        for [last] in follow_runs(self.client, [sent.run]):
            if last.stage in PHASES and last.stage not in seen:
                seen[last.stage] = self.cpu()
        if last is None or not last.whole or list(seen) != list(PHASES):
            logs = self.service.settings.state_folder / "logs"
            raise RuntimeError(f"{sent.run} was not made as wanted: {last}; logs: {logs}")
        seen["end"] = self.cpu()
        states = list(seen.values())
        spent = [_less(now, then) for then, now in pairwise(states)]
        cpu = dict[str, Cpu](zip(PHASES, spent, strict=True))
        others = watch.others(sum(_less(states[-1], states[0]).values()))
        spans, digests = read_lines(self.out / shot / "v001" / "lines")
        peaks = [peak_mb(each) for each in self.slots()]
        return ServiceRun(count, spans, digests, cpu, peaks, others)

    def warm_up(self, slots: int) -> None:
        """Make shots until every slot has made two frames."""
        for number in range(MOST_WARM_UPS):
            made = self.make(f"warm_{number}", 4 * slots)
            if sum(len(each) > 1 for each in made.spans.values()) == slots:
                return
        raise RuntimeError(f"after {MOST_WARM_UPS} shots not all of {slots} slots have worked")

    def slots(self) -> list[int]:
        """Return the process ids of the slots."""
        parent = self.service.processes()["worker"]
        return [] if parent is None else children_of(parent)

    def cpu(self) -> Cpu:
        """Return the processor time of every process so far, s."""
        running = {name: each for name, each in self.service.processes().items() if each}
        found = {name: cpu_of_s(each) for name, each in running.items()}
        found["slots"] = sum(cpu_of_s(each) for each in self.slots())
        return found | {"here": time.process_time()}


@contextmanager
def running_floor(folder: Path, plates: Path, *, slots: int) -> Iterator[Floor]:
    """Start the service with `slots`: its state in `folder`, masters beside the plates."""
    out = plates.parent / f"service_{slots}"
    out.mkdir(exist_ok=True)
    settings = load_settings(
        {}, state_folder=folder, port=0, slots=slots, roots={"plates": plates, "out": out}
    )
    with EmbeddedService(settings) as service, Client(service.url) as client:
        yield Floor(service, client, plates, out)


def read_lines(folder: Path) -> tuple[Spans, set[str]]:
    """Return when each worker began and ended its frames, and the digests of their pixels."""
    spans: dict[str, list[tuple[float, float]]] = defaultdict(list)
    digests = set()
    for file in folder.glob("*.jsonl"):
        for line in map(json.loads, file.read_text("utf-8").splitlines()):
            if line["stage"] == "combine":
                spans[line["worker"]].append((line["ended"] - line["seconds"], line["ended"]))
                digests.add(line["result"]["digest"])
    return {worker: sorted(each) for worker, each in spans.items()}, digests


def _less(now: Cpu, before: Cpu) -> Cpu:
    return {part: now.get(part, 0.0) - before.get(part, 0.0) for part in PARTS}
