"""A night in this process: the workers' own code over a real ledger that may be lost."""

import hashlib
from collections import Counter
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import redis

from glimsum_jobs.ledger import Claim, Control, RunRecord, RunState, Stage
from glimsum_jobs.orders import RunOrder
from glimsum_jobs.plan import next_stage
from glimsum_jobs.shot import ShotJob
from glimsum_services.job_file import Asked
from glimsum_services.rebuild.rebuilder import Rebuilder, Rebuilt
from glimsum_services.store.joined import Joined
from glimsum_services.store.ledger import RedisLedger
from glimsum_services.store.restore import Restorer
from glimsum_services.store.shots import Shots
from glimsum_services.submit import Submissions
from glimsum_services.wishes import WishingLedger
from glimsum_workers.celery_tasks import Workplace
from glimsum_workers.frames.roots import Roots
from glimsum_workers.perform import Performer
from support.small_shots import exr_pass, grain, one_lamp, small_shot, write_exr_pass

RUN = "small/v001"
FRAMES = 6
FILMED: dict[str, Any] = {"viewing": {"movie": "h264", "width": 64}}


def make_plates(folder: Path) -> dict[str, Path]:
    """Write the passes of `night_job` and return the roots it names."""
    numbers = range(1, FRAMES + 1)
    write_exr_pass(folder, "key", {n: one_lamp(n) for n in numbers})
    write_exr_pass(folder, "leak", {n: grain(n + 50) / 20 for n in numbers})
    (folder / "out").mkdir()
    return {"plates": folder, "out": folder / "out"}


def night_job(**changes: Any) -> ShotJob:
    """Return a job with something to do in every stage."""
    passes = {
        "key": exr_pass("key", ambient="leak", level="steady"),
        "leak": exr_pass("leak", use="ambient"),
    }
    frames = {"first": 1001, "last": 1000 + FRAMES}
    return small_shot(**{"passes": passes, "frames": frames, **changes})


class Interrupted(BaseException):
    """The process dies here: nothing that catches errors sees it."""


class Night:
    """Ledger, submissions and one worker over the same roots.

    `performed` counts how often each item of each stage was begun.
    """

    def __init__(self, client: redis.Redis, roots: Mapping[str, Path]) -> None:
        self.client = client
        self.roots = roots
        self.performed: Counter[str] = Counter()
        self.forget()

    def forget(self) -> None:
        """Lose the ledger, and everything a process may remember of it."""
        self.client.flushall()
        self.shots = Shots(self.client)
        self.ledger: RedisLedger = WishingLedger(
            self.client, lease_s=60.0, back_off_s=0.0, orders=self.shots, roots=self.roots
        )
        self.submissions = Submissions(self.shots, self.ledger, self.roots)

    def submit(self, *jobs: ShotJob, sequence: str | None = None, priority: int = 50) -> list[str]:
        """Submit jobs and return their runs."""
        texts = tuple(f"# as {job.shot} was written\n" for job in jobs)
        taken = self.submissions.submit(Asked(sequence, jobs, texts, ()), priority=priority)
        return [each.order.run for each in taken]

    def record(self, run: str) -> RunRecord:
        """Return where a run stands."""
        record = self.ledger.record(run)
        assert record is not None
        return record

    def work(self, run: str, items: int = 10**6, *, die: Callable[[Claim], bool] | None = None
             ) -> None:  # fmt: skip
        """Do up to `items` items, passing barriers; die behind the item of which `die` says so."""
        performer = Performer(self.ledger, Roots(self.roots), "here")
        left = items

        def perform(order: RunOrder, claim: Claim, mine: Callable[[], Control]) -> dict[str, Any]:
            self.performed[f"{claim.stage}/{claim.item}"] += 1
            result = performer(order, claim, mine)
            if die is not None and die(claim):
                raise Interrupted
            return result

        place: Workplace[RunOrder] = Workplace(
            ledger=self.ledger,
            orders=self.shots,
            perform=perform,
            machine="here",
            beat_s=60.0,
            ticket_s=0.0,
        )
        try:
            while left and self.record(run).ended is None:
                self.pass_barrier(run)
                record = self.record(run)
                if record.ended is not None or not record.counts[record.stage].waiting:
                    return
                claim = self.ledger.claim("here/1", run)
                if claim is None:
                    return
                place.work_on_item(claim)
                left -= 1
        finally:
            performer.close()

    def pass_barrier(self, run: str) -> None:
        """Do what the dispatcher does once a stage is at its end."""
        ledger, order = self.ledger, self.shots.order(run)
        while (record := self.record(run)).ended is None and not record.counts[record.stage].left:
            step = next_stage(order, record.stage, lambda of: ledger.items(run, of))
            ledger.advance(
                run, record.stage, step.stage, step.items, aside=step.set_aside, end=step.end
            )

    def work_frames(self, run: str, frames: int) -> None:
        """Work until so many frames are done."""
        while self.frames_done(run) < frames:
            self.work(run, 1)

    def frames_done(self, run: str) -> int:
        """Return how many frames of a run the ledger has as done."""
        counts = self.record(run).counts.get(Stage.COMBINE)
        return 0 if counts is None else counts.done

    def rebuild(self, **given: Any) -> Rebuilt:
        """Restore the ledger from the disk."""
        told = (self.shots, self.ledger, Restorer(self.client), Joined(self.client), self.roots)
        return Rebuilder(*told, **given).rebuild()

    def finish(self, run: str) -> RunState:
        """Work to the end and return how it ended."""
        self.work(run)
        return self.record(run).state

    def masters(self, run: str) -> dict[str, str]:
        """Return the digest of every file a version left for people, by its path in it."""
        shot, _, version = run.partition("/")
        folder = self.roots["out"] / shot / version
        parts = ("master", "viewing", "preview")
        return {
            str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
            for part in parts
            for path in sorted((folder / part).glob("*"))
        }
