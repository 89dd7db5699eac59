"""What a soak kills and asks: a supervisor in a process of its own, with pictures of full size."""

import os
import signal
import socket
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from hashlib import sha256
from pathlib import Path
from types import TracebackType
from typing import Any, Self, TypeVar

import numpy as np
import OpenEXR

from farm.conftest import alive, descendants, wait_until
from farm.soak_worker import NOTES
from glimsum_jobs.errors import StoreError
from glimsum_jobs.ledger import STAGES, ItemRecord, ItemState, RunRecord, Stage
from glimsum_jobs.shot import ShotJob
from glimsum_services.client import Client
from glimsum_services.connections import Connections, open_connections
from glimsum_services.service_errors import ServiceAway, ServiceFailed
from support.service import PYTHONPATH, TESTS, program, quick_settings
from support.small_shots import exr_pass, small_shot, write_exr_pass

FRAMES = 8
LAMPS = ("key", "fill", "practicals")
WORKER = program(str(TESTS / "farm" / "soak_worker.py"))
SUPERVISOR = f"""
import os
from glimsum_services.embedded import EmbeddedService
from glimsum_services.settings import load_settings
EmbeddedService(load_settings(os.environ), worker={WORKER!r}).run()
"""
Answer = TypeVar("Answer")


def soak_job(shot: str) -> ShotJob:
    """Return a shot whose stages all have work: averages, levels, tints, a movie."""
    passes: dict[str, Any] = {name: exr_pass(name, ambient="leak") for name in LAMPS}
    passes["fill"]["level"] = "steady"
    passes["leak"] = exr_pass("leak", use="ambient")
    return small_shot(
        shot=shot,
        passes=passes,
        recipe=[
            {"pass": "key"},
            {"pass": "fill", "stops": -0.5, "tint_mired": -40},
            {"pass": "practicals", "stops": 1, "tint_mired": 25},
        ],
        frames={"first": 1001, "last": 1000 + FRAMES},
        viewing={"movie": "h264", "width": 480},
        output=f"out:{shot}",
    )


def write_plates(folder: Path, height: int, width: int) -> None:
    """Write soft light with a flicker and some grain, in steps that compress."""
    folder.mkdir()
    down, across = np.mgrid[0:height, 0:width].astype(np.float32) / np.float32(width)
    for seed, name in enumerate((*LAMPS, "leak")):
        chance = np.random.default_rng(seed)
        base = 0.3 + 0.2 * np.sin((5 + 3 * seed) * across + seed) * np.cos(4 * down)
        pictures = {}
        for number in range(1, FRAMES + 1):
            flicker = 1 + 0.03 * np.sin(number) * (name == "fill")
            light = base * flicker * (0.02 if name == "leak" else 1)
            grain = chance.normal(0, 0.01, (height, width, 1)).round(2)
            colour = np.array([1.0, 0.9 - 0.1 * seed, 0.7])
            pictures[number] = (light[..., None] * colour + 0.1 * grain).astype(np.float16)
        write_exr_pass(folder, name, pictures)


class SoakService:
    """The service under the soak; a context manager."""

    def __init__(self, folder: Path, size: tuple[int, int], slots: int) -> None:
        self.folder = folder
        self.notes = folder / "notes"
        self.notes.mkdir()
        write_plates(folder / "plates", *size)
        (folder / "out").mkdir()
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        self.settings = quick_settings(
            folder,
            port=port,
            slots=slots,
            lease_s=6.0,
            beat_s=1.5,
            roots={"plates": folder / "plates", "out": folder / "out"},
        )
        self._process: subprocess.Popen[bytes] | None = None
        self._link: Connections | None = None

    def __enter__(self) -> Self:
        return self.start()

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        assert self._process is not None
        below = descendants(self._process.pid)
        self._process.send_signal(signal.SIGINT)
        self._process.wait(30)
        wait_until(lambda: alive(below) == set(), 10, "all processes are gone")

    def start(self) -> Self:
        """Start the supervisor; the ledger goes on where it stood."""
        environment = dict(os.environ) | self.settings.environment()
        environment |= {"PYTHONPATH": PYTHONPATH, NOTES: str(self.notes)}
        with (self.folder / "supervisor.log").open("ab") as words:
            self._process = subprocess.Popen(
                [sys.executable, "-c", SUPERVISOR], env=environment, stdout=words, stderr=words
            )
        self.open_runs()
        wait_until(lambda: len(self.slots()) > 0, 120, "slots are there")
        return self

    @property
    def link(self) -> Connections:
        """Return the way to the ledger; the server's address stays the same."""
        if self._link is None:
            url = self.folder / "state" / "ledger" / "url"
            wait_until(url.exists, 60, "the server has an address")
            settings = self.settings.model_copy(update={"broker": url.read_text().strip()})
            self._link = open_connections(settings, 60)
        return self._link

    def ask(self, call: Callable[[], Answer], seconds: float = 90) -> Answer:
        """Repeat `call` while ledger or API is being killed."""
        deadline = time.monotonic() + seconds
        while True:
            try:
                return call()
            except (StoreError, ServiceAway, ServiceFailed):
                if time.monotonic() > deadline:
                    raise
                time.sleep(0.2)

    def submit(self, job: ShotJob) -> str:
        def send() -> str:
            with Client(f"http://127.0.0.1:{self.settings.port}") as client:
                return client.submit([job])[0].run

        return self.ask(send)

    def record(self, run: str) -> RunRecord:
        found = self.ask(lambda: self.link.ledger.record(run))
        assert found is not None
        return found

    def open_runs(self) -> list[str]:
        return self.ask(lambda: self.link.ledger.open_runs())  # noqa: PLW0108  # the way there fails too

    def items(self, run: str, stage: Stage = Stage.COMBINE) -> list[ItemRecord]:
        return self.ask(lambda: self.link.ledger.items(run, stage))

    def why(self, run: str) -> list[str]:
        """Return a line for each item of a run that is not done, with its tries and last error."""
        return [
            f"{run}: {stage} {item.item} {item.state} after {item.tries} tries: {item.failure}"
            for stage in STAGES
            for item in self.items(run, stage)
            if item.state is not ItemState.DONE
        ]

    def wait_for_end(self, runs: Sequence[str], seconds: float) -> None:
        wait_until(lambda: not set(runs) & set(self.open_runs()), seconds, f"{runs} have ended")

    def slots(self) -> list[int]:
        """Return the processes that work on items: the children of the worker's parent."""
        worker = self._child("soak_worker")
        return sorted(descendants(worker)) if worker else []

    def _child(self, word: str) -> int | None:
        assert self._process is not None
        for process in descendants(self._process.pid):
            with suppress(OSError):
                stat = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
                command = Path(f"/proc/{process}/cmdline").read_text()
                if int(stat[1]) == self._process.pid and word in command:
                    return process
        return None

    @contextmanager
    def all_stopped(self) -> Iterator[bool]:
        """Hold the worker's parent still, which then starts no slot, and all its slots.

        A slot that began its work between the look and the kill could hold an item that was
        lost twice.
        """
        parent = self._child("soak_worker")
        with self._held([] if parent is None else [parent]), self.stopped(self.slots()) as may_die:
            yield may_die

    @contextmanager
    def stopped(self, processes: Sequence[int]) -> Iterator[bool]:
        """Hold processes still; yield whether they may be killed: no third loss of one item.

        An item whose process was lost three times is set aside as poison, by design. Looked at
        while nothing moves, so that no slot takes such an item between the look and the kill.
        """
        with self._held(processes) as held:
            time.sleep(0.2)  # what they asked for last has reached the ledger by then
            yield bool(held) and not any(
                item.tries > 2
                for run in self.open_runs()
                for stage in STAGES
                for item in self.items(run, stage)
                if item.state is ItemState.WORKING
            )

    @contextmanager
    def _held(self, processes: Sequence[int]) -> Iterator[list[int]]:
        """Hold processes still; yield those that were still there."""
        held = []
        for process in processes:
            with suppress(ProcessLookupError):
                os.kill(process, signal.SIGSTOP)
                held.append(process)
        try:
            yield held
        finally:
            for process in held:
                with suppress(ProcessLookupError):
                    os.kill(process, signal.SIGCONT)

    def kill(self, name: str) -> bool:
        """Kill the server or the worker's parent with all below it."""
        process = self._child({"server": "valkey", "worker": "soak_worker"}[name])
        if process is not None:
            os.kill(process, signal.SIGKILL)
        return process is not None

    def kill_supervisor(self) -> list[int]:
        """Kill the supervisor; return the processes below it, which must not outlive it."""
        assert self._process is not None
        below = descendants(self._process.pid)
        self._process.kill()
        self._process.wait()
        return list(below)

    def wait_until_gone(self, processes: Sequence[int]) -> None:
        wait_until(lambda: alive(set(processes)) == set(), 60, "the killed are gone")

    def master(self, run: str, item: str) -> Path:
        shot, _, version = run.partition("/")
        name = f"{shot}_{version}.{int(item):04d}.exr"
        return self.folder / "out" / shot / version / "master" / name

    def pictures(self, run: str) -> dict[str, str]:
        """Return a digest of each frame's pixels, read by the format's own library."""
        found = {}
        for path in sorted(self.master(run, "0").parent.glob("*.exr")):
            with OpenEXR.File(str(path), separate_channels=True) as file:
                planes = file.parts[0].channels
                pixels = b"".join(np.asarray(planes[name].pixels).tobytes() for name in "RGB")
            found[path.name.split(".")[1]] = sha256(pixels).hexdigest()
        return found

    def median_frame_s(self, runs: Sequence[str]) -> float:
        items = [item for run in runs for item in self.items(run)]
        seconds = [float((item.result or {}).get("seconds", 0)) for item in items]
        return statistics.median(seconds or [0.0])

    def wait_for_sweep(self, runs: Sequence[str], seconds: float) -> list[str]:
        """Wait until no unfinished file is left; return those that are after all."""
        deadline = time.monotonic() + seconds
        while left := [p for p in (self.folder / "out").rglob(".*.part") if "kept" not in str(p)]:
            if time.monotonic() > deadline:
                break
            time.sleep(1)
        return [str(path) for path in left]
