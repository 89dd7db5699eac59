"""A job run in this process by the workers' own code, with the ledger in memory."""

import itertools
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import OpenEXR
from numpy.typing import NDArray

from glimsum_jobs.ledger import Cause, Failure, ItemRecord, ItemState, RunState, Stage
from glimsum_jobs.measurements import Checked, Combined, Finished, Solved
from glimsum_jobs.orders import RunOrder, run_name
from glimsum_jobs.paths import parse_root_path
from glimsum_jobs.plan import next_stage
from glimsum_jobs.shot import ShotJob
from glimsum_services.submit import digest_job
from glimsum_workers.celery_tasks import Workplace
from glimsum_workers.combine_frame import ShotBench
from glimsum_workers.frames.roots import Roots
from glimsum_workers.light.kept_passes import LightRoom
from glimsum_workers.perform import NO_LIGHT, Performer, kept_of
from support.memory_ledger import MemoryLedger

NOT_ASKED_FOR = Failure(cause=Cause.ERROR, kind="NotAskedFor", message="not asked for")
MADE = "2026-01-05T21:30:00Z"


class OneOrder:
    """Knows the order of one run."""

    def __init__(self, order: RunOrder) -> None:
        self._order = order

    def order(self, run: str) -> RunOrder:
        assert run == self._order.run
        return self._order


@dataclass(frozen=True)
class HereRun:
    """A run and what it left behind."""

    order: RunOrder
    ledger: MemoryLedger
    roots: Roots
    folder: Path
    """Folder of the version."""

    @property
    def state(self) -> RunState:
        record = self.ledger.record(self.order.run)
        assert record is not None
        return record.state

    def items(self, stage: Stage) -> dict[str, ItemRecord]:
        return {item.item: item for item in self.ledger.items(self.order.run, stage)}

    @property
    def checked(self) -> Checked:
        return Checked.model_validate(self.items(Stage.CHECK)["shot"].result)

    @property
    def solved(self) -> Solved:
        return Solved.model_validate(self.items(Stage.SOLVE)["shot"].result)

    @property
    def combined(self) -> dict[int, Combined]:
        """What each finished frame left behind."""
        items = self.items(Stage.COMBINE).values()
        return {
            int(item.item): Combined.model_validate(item.result)
            for item in items
            if item.state is ItemState.DONE
        }

    @property
    def finished(self) -> Finished:
        return Finished.model_validate(self.items(Stage.FINISH)["shot"].result)

    def master(self, frame: int) -> Path:
        return self.folder / "master" / self.combined[frame].name

    def bench(self) -> ShotBench:
        """Lay the shot out again, as a worker does before its first frame."""
        keep = kept_of(self.order, self.roots)
        return ShotBench(self.order.job, self.checked, self.solved, self.roots, keep)


def open_run(job: ShotJob, roots: Mapping[str, Path], *, version: int = 1) -> HereRun:
    """Make the version's folder and open the run; nothing is done yet."""
    output = parse_root_path(job.output).child(f"v{version:03d}")
    here = Roots(roots)
    folder = here.make_folder(output)
    order = RunOrder(
        run=run_name(job.shot, version),
        shot=job.shot,
        version=version,
        job=job,
        job_digest=digest_job(job),
        folder=str(output),
        made=MADE,
    )
    # A clock that only counts: no lease runs out and no item waits.
    ticks = itertools.count(1_767_648_600.0, 1e-3)
    ledger = MemoryLedger(lambda: next(ticks), lease_s=1e6, back_off_s=0.0)
    ledger.open(order.run)
    return HereRun(order, ledger, here, folder)


def work_through(
    run: HereRun,
    *,
    before: Callable[[Stage], None] = lambda _: None,
    until: Stage | None = None,
    room: LightRoom = NO_LIGHT,
) -> HereRun:
    """Do every stage as workers and dispatcher do.

    `before` is called as each stage begins; work ends before the stage `until`. Light of passes
    in their place is kept in `room`.
    """
    performer = Performer(run.ledger, run.roots, "here", room)
    place = Workplace(
        ledger=run.ledger,
        orders=OneOrder(run.order),
        perform=performer,
        machine="here",
        beat_s=60.0,
        ticket_s=1e6,
    )
    try:
        _pass_stages(run, place, before, until)
    finally:
        performer.close()
    return run


def _pass_stages(
    run: HereRun,
    place: Workplace[RunOrder],
    before: Callable[[Stage], None],
    until: Stage | None,
) -> None:
    name = run.order.run
    while True:
        record = run.ledger.record(name)
        assert record is not None
        if record.ended is not None or record.stage is until:
            return
        before(record.stage)
        place.work_on_shot(name, [record.stage])
        step = next_stage(run.order, record.stage, lambda of: run.ledger.items(name, of))
        moved = run.ledger.advance(
            name, record.stage, step.stage, step.items, aside=step.set_aside, end=step.end
        )
        assert moved, f"{name} does not get past {record.stage}"


def run_here(
    job: ShotJob,
    roots: Mapping[str, Path],
    *,
    version: int = 1,
    only: Collection[int] | None = None,
) -> HereRun:
    """Run a job from its check to its end in this process.

    With `only`, the other frames are measured with the rest, then set aside by hand.
    """
    run = open_run(job, roots, version=version)

    def leave_others(stage: Stage) -> None:
        if stage is not Stage.COMBINE or only is None:
            return
        for frame in job.frames.numbers:
            if frame not in only:
                run.ledger.set_aside(run.order.run, stage, str(frame), NOT_ASKED_FOR)

    return work_through(run, before=leave_others)


def read_exr(path: Path) -> NDArray[np.float32]:
    """Read R, G, B (and A) of an OpenEXR file with the standard's own library."""
    with OpenEXR.File(str(path), separate_channels=True) as file:
        channels = file.channels()
        names = [name for name in "RGBA" if name in channels]
        return np.stack([channels[name].pixels for name in names], axis=-1).astype(np.float32)
