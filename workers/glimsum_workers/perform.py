"""One claimed item, done: which flow a stage is, and what the flow is given."""

import os
import socket
import time
from collections.abc import Callable
from importlib.metadata import version
from pathlib import Path
from typing import Any

from glimsum_jobs.errors import StoreError
from glimsum_jobs.ledger import SINGLE_ITEM, Claim, Control, Ledger, Stage
from glimsum_jobs.left_behind import LeftBehind
from glimsum_jobs.measurements import Checked, Found, Solved
from glimsum_jobs.orders import Order, RunOrder, WedgeOrder
from glimsum_jobs.paths import parse_root_path
from glimsum_jobs.settled import settled
from glimsum_workers.check_shot import check_shot
from glimsum_workers.combine_frame import ShotBench
from glimsum_workers.finish_shot import finish_shot
from glimsum_workers.footage.material import Material
from glimsum_workers.frames.kept import Keep
from glimsum_workers.frames.manifest import append_line
from glimsum_workers.frames.roots import Roots
from glimsum_workers.light.fingerprint import PIXEL_EPOCH
from glimsum_workers.light.kept_passes import LightRoom, open_light_store
from glimsum_workers.looking.asked_wedge import make_asked_wedge
from glimsum_workers.measure_item import measure_item
from glimsum_workers.measuring.measured import Result, read_measured
from glimsum_workers.solve_shot import solve_shot
from glimsum_workers.writing.reuse import EarlierFrames
from glimsum_workers.writing.version_folder import LINES
from glimsum_workers.writing.write_frame import write_frame
from glimsum_workers.writing.writer import Writer

PROGRAM = version("glimsum")
NO_LIGHT = LightRoom(budget_bytes=0, reserve_bytes=0)


class Performer:
    """Does claimed items with this machine's roots, reading what earlier stages left behind.

    Parameters
    ----------
    ledger : Ledger
        Holds the results of earlier stages.
    roots : Roots
        Where this machine has the roots.
    machine : str
        Name of this worker; its processes are told apart by their ids.
    room : LightRoom, optional
        How much light of passes in their place is kept; default none.
    """

    def __init__(
        self, ledger: Ledger, roots: Roots, machine: str, room: LightRoom = NO_LIGHT
    ) -> None:
        self._ledger = ledger
        self._room = room
        self._roots = roots
        self._machine = machine
        self._laid_out: tuple[str, ShotBench, EarlierFrames] | None = None
        self._measured: tuple[str, Material] | None = None

    def __call__(
        self, order: Order, claim: Claim, still_mine: Callable[[], Control]
    ) -> dict[str, Any]:
        """Do the claimed item and return what it leaves behind, as plain JSON values.

        It is entered in this process's line file before the ledger hears of it: a line without
        an entry in the ledger is done again, an entry without a line could never be restored.
        A wedge is not restored, and enters nothing.

        Raises
        ------
        LeaseLost
            From `still_mine`; nothing was written then.
        GlimsumError
            Whatever is wrong with the item, with its place.
        """
        begun = time.monotonic()
        if isinstance(order, WedgeOrder):
            writer = self._writer(claim, still_mine)
            wedged = make_asked_wedge(order, self._ledger, self._roots, self._room, writer)
            return wedged.model_dump(mode="json")
        match claim.stage:
            case Stage.CHECK:
                left: Found | Result = self._check(order, still_mine)
            case Stage.MEASURE:
                left = self._measure(order, claim.item)
            case Stage.SOLVE:
                left = self._solve(order)
            case Stage.COMBINE:
                left = self._combine(order, claim, still_mine)
            case Stage.FINISH:
                left = self._finish(order, claim, still_mine)
            case Stage.WEDGE:
                raise ValueError(f"{order.run} is a version; a wedge is a run of its own")
        result: dict[str, Any] = left.model_dump(mode="json")
        self._enter(order, claim, result, time.monotonic() - begun)
        return result

    def _enter(self, order: RunOrder, claim: Claim, result: dict[str, Any], seconds: float) -> None:
        process = f"{self._machine}/{os.getpid()}"
        line = LeftBehind(
            stage=claim.stage,
            item=claim.item,
            token=claim.token,
            worker=process,
            host=socket.gethostname(),
            program=PROGRAM,
            pixel_epoch=PIXEL_EPOCH,
            ended=round(time.time(), 3),
            seconds=round(seconds, 3),
            result=result,
        )
        folder = self._roots.make_folder(parse_root_path(order.folder).child(LINES))
        append_line(folder, process.replace("/", "-"), line.model_dump(mode="json"))

    def close(self) -> None:
        """Close what is open of the shot laid out or measured last."""
        if self._laid_out is not None:
            self._laid_out[1].close()
            self._laid_out = None
        self._close_measured()

    def _close_measured(self) -> None:
        if self._measured is not None:
            self._measured[1].close()
            self._measured = None

    def _check(self, order: RunOrder, still_mine: Callable[[], Control]) -> Checked:
        sought = any(each.start_offset == "auto" for each in order.job.passes.values())
        keep = kept_of(order, self._roots) if sought else None
        return check_shot(order.job, self._roots, keep, still_mine)

    def _measure(self, order: RunOrder, item: str) -> Result:
        material = self._material(order)
        return measure_item(material.job, item, material, kept_of(order, self._roots))

    def _material(self, order: RunOrder) -> Material:
        """Open the sources once: a clip is decoded on from item to item."""
        if self._measured is None or self._measured[0] != order.run:
            self._close_measured()
            checked = self._checked(order)
            job = settled(order.job, checked)
            self._measured = (order.run, Material(job, checked, self._roots))
        return self._measured[1]

    def _solve(self, order: RunOrder) -> Solved:
        items = self._ledger.items(order.run, Stage.MEASURE)
        left = [(each.item, each.result) for each in items if each.result is not None]
        measured = read_measured(left)
        checked = self._checked(order)
        job = settled(order.job, checked)
        with Material(job, checked, self._roots) as material:
            return solve_shot(job, measured, material, kept_of(order, self._roots))

    def _combine(self, order: RunOrder, claim: Claim, still_mine: Callable[[], Control]) -> Found:
        bench, earlier = self._bench(order)
        return write_frame(
            order,
            bench,
            int(claim.item),
            self._roots,
            earlier=earlier,
            writer=self._writer(claim, still_mine),
        )

    def _finish(self, order: RunOrder, claim: Claim, still_mine: Callable[[], Control]) -> Found:
        return finish_shot(
            order,
            self._checked(order),
            self._solved(order),
            self._ledger.items(order.run, Stage.COMBINE),
            self._roots,
            writer=self._writer(claim, still_mine),
        )

    def _writer(self, claim: Claim, still_mine: Callable[[], Control]) -> Writer:
        return Writer(f"{self._machine}/{os.getpid()}", str(claim.token), still_mine)

    def _bench(self, order: RunOrder) -> tuple[ShotBench, EarlierFrames]:
        """Lay a shot out once: clips stay open and what was read stays read between its frames."""
        if self._laid_out is None or self._laid_out[0] != order.run:
            self.close()
            checked = self._checked(order)
            job, kept = settled(order.job, checked), kept_folder(order, self._roots)
            store = open_light_store(job, checked, kept, self._room, version=order.version)
            bench = ShotBench(job, checked, self._solved(order), self._roots, Keep(kept), store)
            self._laid_out = (order.run, bench, EarlierFrames(order, self._roots))
        return self._laid_out[1:]

    def _checked(self, order: RunOrder) -> Checked:
        return Checked.model_validate(self._left_behind(order.run, Stage.CHECK))

    def _solved(self, order: RunOrder) -> Solved:
        return Solved.model_validate(self._left_behind(order.run, Stage.SOLVE))

    def _left_behind(self, run: str, stage: Stage) -> dict[str, Any]:
        result = self._ledger.result(run, stage, SINGLE_ITEM)
        if result is None:
            raise StoreError(
                f"the ledger holds no result of stage {stage} of {run}",
                seen="nothing",
                expected=f"what {stage} left behind",
                remedy="Submit the shot again.",
            )
        return result


def kept_of(order: RunOrder, roots: Roots) -> Keep:
    """Return where measurements of the shot are kept for all its versions."""
    return Keep(kept_folder(order, roots))


def kept_folder(order: RunOrder, roots: Roots) -> Path:
    """Return the folder of what is kept of a shot, made if it is not there."""
    return roots.make_folder(order.kept)
