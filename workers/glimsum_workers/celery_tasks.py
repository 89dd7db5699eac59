"""The worker's side of the queue: a ticket wakes it, the ledger gives it items one by one."""
# The methods of a protocol are words alone.
# pyright: reportReturnType=false

import logging
import os
import resource
import sys
import time
import traceback
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Generic, Protocol, TypeVar

from celery import Celery

from glimsum_jobs.errors import (
    GlimsumError,
    LeaseLost,
    LightError,
    PathError,
    SourceError,
    StoreError,
)
from glimsum_jobs.ledger import Cause, Claim, Control, Failure, Finish, Ledger, Result, Stage
from glimsum_jobs.tickets import WORK_ON_SHOT, queue_of
from glimsum_workers.run.lease import LeaseKeeper

log = logging.getLogger(__name__)

Order = TypeVar("Order")
Given_co = TypeVar("Given_co", covariant=True)
Answer = TypeVar("Answer")
StillMine = Callable[[], Control]
Perform = Callable[[Order, Claim, StillMine], Result]
"""Does the work of one item and returns what it left behind; asks StillMine on the way."""


class OrderSource(Protocol[Given_co]):
    """Where the order of a run is looked up."""

    def order(self, run: str) -> Given_co:
        """Return the order of `run`."""


class Desk(Protocol):
    """Where a slot says what it is at, for a parent that must end it if it hangs."""

    def begin(self, stage: Stage) -> None:
        """Say that an item of `stage` is begun."""

    def end(self) -> None:
        """Say that no item is in hand."""


@dataclass(frozen=True)
class Workplace(Generic[Order]):
    """Everything a ticket needs.

    Attributes
    ----------
    ledger : Ledger
        Whose item is whose.
    orders : object with a method ``order(run)``
        What is wanted of a run.
    perform : callable
        Does the work of one item.
    machine : str
        Random name of this worker; a slot is called ``machine/process id``.
    beat_s : float
        Seconds between beats.
    ticket_s : float
        A ticket takes no new item after this time.
    stopping : callable
        True once this worker is asked to stop.
    lacks : callable
        What a run lacks on this machine now, in words; "" when nothing does.
    desk : Desk
        Told when an item is begun and ended.
    """

    ledger: Ledger
    orders: OrderSource[Order]
    perform: Perform[Order]
    machine: str
    beat_s: float = 5.0
    ticket_s: float = 30.0
    stopping: Callable[[], bool] = lambda: False
    lacks: Callable[[str], str] = lambda _: ""
    desk: Desk | None = None

    @property
    def slot(self) -> str:
        """Return the name under which this process holds items."""
        return f"{self.machine}/{os.getpid()}"

    def work_on_shot(self, run: str, stages: Sequence[Stage]) -> Stage | None:
        """Work off items of `run` until none is left or the ticket's time is over.

        Returns the stage of the last item when there may be more to do, else None.
        """
        begun = time.monotonic()
        stage = None
        while not self.stopping():
            if time.monotonic() - begun > self.ticket_s:
                return stage
            self._work_on_wedge(stages)
            if lacking := self.lacks(run):
                log.warning("%s waits: %s", run, lacking)
                return None
            claim = self.ledger.claim(self.slot, run, stages)
            if claim is None:
                return None
            self.work_on_item(claim)
            stage = claim.stage
        return None

    def _work_on_wedge(self, stages: Sequence[Stage]) -> None:
        """Make a wedge somebody waits for, if there is one, before the next item of a run."""
        if Stage.WEDGE not in stages:
            return
        for run in self.ledger.wedges_wanted():
            claim = None if self.lacks(run) else self.ledger.claim(self.slot, run, [Stage.WEDGE])
            if claim is not None:
                self.work_on_item(claim)
                return

    def work_on_item(self, claim: Claim) -> None:
        """Do one item and tell the ledger how it ended."""
        ledger = self.ledger
        try:
            result = self._perform(claim)
        except (LeaseLost, StoreError) as error:
            log.warning("%s", error)
            self._until_answered(lambda: ledger.give_back(claim))
        except Exception as error:
            failure = describe_failure(error, self.slot)
            log.exception("%s, %s %s failed", claim.run, claim.stage, claim.item)
            lacking = self._until_answered(lambda: self.lacks(claim.run))
            if lacking:  # the machine's trouble, not the item's
                log.warning("%s, %s counts no try: %s", claim.run, claim.item, lacking)
                self._until_answered(lambda: ledger.give_back(claim))
            else:
                self._until_answered(lambda: ledger.fail(claim, failure))
        except BaseException:  # the process is told to go: hand the item on first
            ledger.give_back(claim)
            raise
        else:
            answer = self._until_answered(lambda: ledger.done(claim, result))
            if answer is not Finish.RECORDED:
                log.warning("%s, %s %s: %s", claim.run, claim.stage, claim.item, answer)

    def _perform(self, claim: Claim) -> Result:
        order = self.orders.order(claim.run)
        if self.desk is not None:
            self.desk.begin(claim.stage)
        try:
            with LeaseKeeper(self.ledger, claim, self.beat_s, self.stopping) as keeper:
                return self.perform(order, claim, keeper.still_mine)
        finally:
            if self.desk is not None:
                self.desk.end()

    def _until_answered(self, call: Callable[[], Answer]) -> Answer | None:
        """Repeat `call` while the ledger gives no answer, so that finished work is kept."""
        while True:
            try:
                return call()
            except StoreError as error:
                log.warning("%s; trying again in 1 s", error)
                if self.stopping():
                    return None
            time.sleep(1)


def describe_failure(error: Exception, worker: str) -> Failure:
    """Return what is kept of `error`: cause, kind, message, end of the traceback, file, memory."""
    hopeless = isinstance(error, SourceError | LightError | PathError)
    cause = Cause.BAD_SOURCE if hopeless else Cause.ERROR
    file = error.place.file if isinstance(error, GlimsumError) else None
    unit = 1 if sys.platform == "darwin" else 1024  # getrusage(2): bytes there, KiB on Linux
    return Failure(
        cause=cause,
        kind=type(error).__name__,
        message=str(error),
        traceback="".join(traceback.format_exception(error))[-16_384:],
        files=(file,) if file else (),
        worker=worker,
        peak_memory_bytes=resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit,
    )


def register_tasks(app: Celery, place: Workplace[Any]) -> None:
    """Give `app` the one task this project has, under its name.

    A second delivery of a ticket finds nothing to claim or shares the work; a lost one is
    replaced by the dispatcher.
    """

    @app.task(name=WORK_ON_SHOT, ignore_result=True, acks_late=False)
    def work_on_shot(run: str, stages: list[str]) -> None:
        try:
            stage = place.work_on_shot(run, [Stage(name) for name in stages])
        except StoreError as error:
            log.warning("ticket for %s dropped: %s", run, error)
            return
        if stage is not None:  # the slot is warm: go on without waiting for the dispatcher
            app.send_task(WORK_ON_SHOT, args=[run, stages], queue=queue_of(stage))
