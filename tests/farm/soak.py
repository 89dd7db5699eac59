"""A bad night at full length: real pictures, real programs, killed all the time.

    python tests/farm/soak.py --long              the whole proof, about an hour on two quiet cores
    python tests/farm/soak.py --kills 40          a shorter one
    python tests/farm/soak.py --minutes 3         until the time is over

Slots, whole workers, the server and the supervisor are killed with SIGKILL while shots are made;
at the end every frame must be there, equal to that of an undisturbed shot, and ledger and disk
must say the same. A frame that killed its process three times would be poison, so one that was
hit twice is left alone. The last line is the summary; the exit code is 1 if anything is wrong.
"""

import argparse
import os
import random
import signal
import sys
import tempfile
import time
from collections import Counter
from contextlib import suppress
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path

if __name__ == "__main__":
    PROJECT = Path(__file__).resolve().parents[2]
    sys.path[:0] = [str(PROJECT / part) for part in ("jobs", "workers", "services", "tests")]

from farm.soak_service import FRAMES, SoakService, soak_job
from farm.soak_worker import Note, read_note
from glimsum_jobs.ledger import STAGES, ItemState, RunState, Stage

OPEN_AT_ONCE = 3
READS_AT_ONCE = (Stage.SOLVE, Stage.FINISH)
"""These begin with reading what is kept, and the masters; those are not opened through a root."""
LONG = {"kills": 500, "between": 300, "servers": 25, "supervisors": 5}


@dataclass
class Goal:
    """How often what is killed."""

    kills: int
    between: int
    servers: int
    supervisors: int
    minutes: float


@dataclass
class Tally:
    """What was killed, and where it hit."""

    slots: int = 0
    workers: int = 0
    servers: int = 0
    supervisors: int = 0
    between: Counter[str] = field(default_factory=Counter)
    """By stage: kills of processes between their first read and their last rename."""

    @property
    def kills(self) -> int:
        return self.slots + self.workers

    def reached(self, goal: Goal) -> bool:
        return (
            self.kills >= goal.kills
            and self.between.total() >= goal.between
            and self.servers >= goal.servers
            and self.supervisors >= goal.supervisors
        )


def is_reading(note: Note) -> bool:
    """Return whether a process has read something for its item and not finished it."""
    return note.far == "reading" or (note.far == "begun" and note.stage in READS_AT_ONCE)


class Soak:
    """Submits shots and kills what makes them."""

    def __init__(self, folder: Path, goal: Goal, size: tuple[int, int], slots: int) -> None:
        self.goal = goal
        self.tally = Tally()
        self.chance = random.Random(7)  # noqa: S311  # which process dies is no secret
        self.service = SoakService(folder, size, slots)
        self.runs: list[str] = []
        self.wrong: list[str] = []

    def run(self) -> bool:
        """Return whether nothing was lost and nothing is wrong."""
        with self.service:
            begun = time.monotonic()
            undisturbed = self.service.submit(soak_job("undisturbed"))
            self.service.wait_for_end([undisturbed], 600)
            truth = self.service.pictures(undisturbed)
            say(f"undisturbed: {len(truth)} frames in {time.monotonic() - begun:.0f} s")
            begun = time.monotonic()
            while not self.tally.reached(self.goal) and not self.over(begun):
                self.keep_busy()
                self.kill_something()
                time.sleep(self.chance.uniform(0.05, 0.4))
            self.service.wait_for_end(self.runs, 900)
            killing_s = time.monotonic() - begun
            self.compare(truth)
            left = self.service.wait_for_sweep(self.runs, 90)
            if left:
                self.wrong.append(f"unfinished files are left: {left[:5]}")
            return self.tell(killing_s)

    def over(self, begun: float) -> bool:
        return time.monotonic() - begun > self.goal.minutes * 60

    def keep_busy(self) -> None:
        """Have some shots under way."""
        while len(self.service.open_runs()) < OPEN_AT_ONCE:
            self.runs.append(self.service.submit(soak_job(f"soak_{len(self.runs) + 1:04d}")))

    def kill_something(self) -> None:
        """Kill what is furthest behind its goal; most often a slot with a file open."""
        gone = min(1.0, self.tally.kills / self.goal.kills)
        if self.tally.servers < int(self.goal.servers * gone):
            self.tally.servers += self.service.kill("server")
        elif self.tally.supervisors < int(self.goal.supervisors * gone):
            self.kill_worker(supervisor=True)
        elif self.tally.workers < self.tally.slots // 12:
            self.kill_worker(supervisor=False)
        else:
            self.kill_slot()

    def kill_slot(self) -> None:
        """Kill a slot between its first read and its last rename, at any moment between them."""
        slots = self.service.slots()
        deadline = time.monotonic() + 2
        victim = None
        while slots and victim is None and time.monotonic() < deadline:
            found = [(slot, read_note(self.service.notes, slot)) for slot in slots]
            reading = [(slot, note) for slot, note in found if note and is_reading(note)]
            # Rare stages first, so that the kills spread over all of them.
            reading.sort(key=lambda each: self.tally.between[each[1].stage])
            victim = next((slot for slot, _ in reading), None)
            time.sleep(0.01)
        if victim is None:
            return
        time.sleep(self.chance.uniform(0, 0.25))
        with self.service.stopped([victim]) as may_die:
            if may_die:
                with suppress(ProcessLookupError):
                    os.kill(victim, signal.SIGKILL)
                    self.tally.slots += 1
        if may_die:
            self.service.wait_until_gone([victim])
            self.count([victim])

    def kill_worker(self, *, supervisor: bool) -> None:
        with self.service.all_stopped() as may_die:
            slots = self.service.slots()
            dying = slots
            if not may_die:
                return
            if supervisor:
                dying = self.service.kill_supervisor()
                self.tally.supervisors += 1
            elif self.service.kill("worker"):
                self.tally.workers += 1
        self.service.wait_until_gone(dying)
        if supervisor:
            self.service.start()
        else:
            self.count(slots)

    def count(self, slots: list[int]) -> None:
        """Count a kill as between read and rename, by what the dead process had noted."""
        notes = [note for slot in slots if (note := read_note(self.service.notes, slot))]
        hit = [note for note in notes if is_reading(note) and not self.renamed(note)]
        for note in hit[:1]:  # one kill counts once, however many frames it hit
            self.tally.between[note.stage] += 1
        for slot in slots:
            (self.service.notes / str(slot)).unlink(missing_ok=True)

    def renamed(self, note: Note) -> bool:
        return note.stage == Stage.COMBINE and self.service.master(note.run, note.item).exists()

    def compare(self, truth: dict[str, str]) -> None:
        """Hold every run against the undisturbed one, and the ledger against the disk."""
        for run in self.runs:
            record, items = self.service.record(run), self.service.items(run)
            done = {item.item: item.result for item in items if item.state is ItemState.DONE}
            if record.state is not RunState.DONE or len(done) != FRAMES:
                self.wrong.append(f"{run}: {record.state}, {len(done)} of {FRAMES} frames")
                self.wrong.extend(self.service.why(run))
                continue
            if record.conflicts:
                self.wrong.append(f"{run}: {record.conflicts} conflicts")
            if self.service.pictures(run) != truth:
                self.wrong.append(f"{run}: pictures differ from the undisturbed shot")
            on_disk = {path.name for path in self.service.master(run, "0").parent.iterdir()}
            if on_disk != {(result or {})["name"] for result in done.values()}:
                self.wrong.append(f"{run}: the ledger names other masters than there are")
            for item, result in done.items():
                content = self.service.master(run, item).read_bytes()
                if sha256(content).hexdigest() != (result or {})["file_digest"]:
                    self.wrong.append(f"{run}: the digest of frame {item} is another on disk")

    def tell(self, seconds: float) -> bool:
        """Print the summary; answer whether all is right."""
        for line in self.wrong:
            say(f"WRONG {line}")
        tally, frames = self.tally, len(self.runs) * FRAMES
        stages = ", ".join(f"{stage} {tally.between[stage]}" for stage in STAGES)
        frame_s = self.service.median_frame_s(self.runs)
        say(
            f"soak: {tally.kills} worker kills ({tally.slots} slots, {tally.workers} whole "
            f"workers), {tally.between.total()} of them between first read and rename ({stages}); "
            f"{tally.servers} server kills, {tally.supervisors} supervisor kills; {frames} frames "
            f"of {frame_s:.2f} s in {len(self.runs)} shots, {seconds:.0f} s: "
            f"{len(self.wrong)} wrong, goal {'reached' if tally.reached(self.goal) else 'missed'}"
        )
        return not self.wrong


def say(words: str) -> None:
    """Print a line now."""
    sys.stdout.write(f"{words}\n")
    sys.stdout.flush()


def main() -> int:
    """Run the soak that the arguments ask for."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--long", action="store_true", help="the whole proof")
    parser.add_argument("--kills", type=int, default=20, help="worker kills; the rest in step")
    parser.add_argument("--minutes", type=float, default=600, help="kill no longer than this")
    parser.add_argument("--slots", type=int, default=4, help="frames at once")
    parser.add_argument("--width", type=int, default=1920, help="of the pictures, 16:9")
    parser.add_argument("--folder", type=Path, help="where to work; about 2 GB an hour")
    asked = parser.parse_args()
    share = 1.0 if asked.long else asked.kills / LONG["kills"]
    numbers = {name: max(1, round(number * share)) for name, number in LONG.items()}
    goal = Goal(**numbers, minutes=asked.minutes)
    size = (asked.width * 9 // 16, asked.width)
    if asked.folder is not None:
        asked.folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix="soak_", dir=asked.folder) as folder:
        return 0 if Soak(Path(folder), goal, size, asked.slots).run() else 1


if __name__ == "__main__":
    sys.exit(main())
