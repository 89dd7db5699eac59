"""Hands out tickets and leads each run from stage to stage; any process may be it."""
# The methods of a protocol are words alone.
# pyright: reportReturnType=false

import logging
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from typing import Generic, Protocol, TypeVar

from kombu.exceptions import OperationalError
from redis.exceptions import RedisError

from glimsum_jobs.errors import StoreError
from glimsum_jobs.ledger import (
    Control,
    Failure,
    ItemRecord,
    Ledger,
    RunRecord,
    RunState,
    Stage,
)
from glimsum_jobs.tickets import queue_of
from glimsum_services.hours import follow_summer_time
from glimsum_services.store.machines import Machine, Machines

log = logging.getLogger(__name__)

Order = TypeVar("Order")
Given_co = TypeVar("Given_co", covariant=True)

SILENT_AFTER_S = 10.0
"""A machine not heard for so long offers no slots."""


class NextStep(Protocol):
    """What follows a stage; `glimsum_jobs.plan.NextStage` is one."""

    @property
    def stage(self) -> Stage | None:
        """The next stage, or None at the end."""

    @property
    def items(self) -> Sequence[str]:
        """Its items, in order."""

    @property
    def set_aside(self) -> Sequence[tuple[str, Failure]]:
        """Items nobody should take."""

    @property
    def end(self) -> RunState | None:
        """How the run ends, if it does."""


Plan = Callable[[Order, Stage, Callable[[Stage], list[ItemRecord]]], NextStep]


class OrderSource(Protocol[Given_co]):
    """Where the order of a run is looked up."""

    def order(self, run: str) -> Given_co:
        """Return the order of `run`."""


class TicketSender(Protocol):
    """The queue, as far as it is needed here."""

    def send(self, run: str, queue: str) -> None:
        """Say that `run` has work for `queue`."""

    def queued(self) -> Mapping[str, int]:
        """Return how many tickets wait in each queue."""


class Dispatcher(Generic[Order]):
    """One tick: watch leases, pass barriers, top up tickets.

    Parameters
    ----------
    name : str
        Names this process among the others that may do the same.
    ledger : Ledger
        Whose item is whose.
    orders : object with a method ``order(run)``
        What is wanted of a run.
    plan : callable
        What follows a stage, such as `glimsum_jobs.plan.next_stage`.
    tickets : TicketSender
        The queue.
    machines : Machines
        Which slots there are.
    tick_s : float
        Seconds between ticks.
    """

    def __init__(
        self,
        name: str,
        *,
        ledger: Ledger,
        orders: OrderSource[Order],
        plan: Plan[Order],
        tickets: TicketSender,
        machines: Machines,
        tick_s: float = 0.5,
    ) -> None:
        self._name = name
        self._ledger = ledger
        self._orders = orders
        self._plan = plan
        self._tickets = tickets
        self._machines = machines
        self._tick_s = tick_s

    def run(self, stop: threading.Event) -> None:
        """Tick until `stop` is set; an absent server is waited for."""
        quiet = False
        while not stop.wait(self._tick_s):
            try:
                self.tick()
            except (StoreError, RedisError, OperationalError) as error:
                if not quiet:
                    log.warning("no work is handed out until the server answers: %s", error)
                quiet = True
            except Exception:
                log.exception("handing out work failed; trying again")
            else:
                quiet = False

    def start(self, stop: threading.Event) -> threading.Thread:
        """Run in a thread of its own and return it."""
        thread = threading.Thread(target=self.run, args=(stop,), name="dispatcher", daemon=True)
        thread.start()
        return thread

    def tick(self) -> bool:
        """Do it once; False when another process has the lead."""
        if not self._machines.take_lead(self._name, self._tick_s * 3):
            return False
        if self._ledger.pulse():
            log.warning("leases were not watched for a while; all start anew, no try is counted")
        there = self._machines.heard_within(SILENT_AFTER_S)
        working = 0
        waiting: list[tuple[str, Stage, int]] = []
        for run in self._ledger.open_runs():
            record = self._look_after(run)
            if record is None:
                continue
            self._hold(record, there)
            counts = record.counts[record.stage]
            working += counts.working
            if record.control is Control.RUN and counts.waiting:
                waiting.append((run, record.stage, counts.waiting))
        self._top_up(self._with_one_wedge(waiting), working, there)
        return True

    def _with_one_wedge(
        self, waiting: list[tuple[str, Stage, int]]
    ) -> Sequence[tuple[str, Stage, int]]:
        """Leave out wedges that no slot would get now: they take one slot of all together."""
        if all(stage is not Stage.WEDGE for _, stage, _ in waiting):
            return waiting
        next_one = self._ledger.wedges_wanted()[:1]
        return [each for each in waiting if each[1] is not Stage.WEDGE or each[0] in next_one]

    def _hold(self, record: RunRecord, there: Sequence[Machine]) -> None:
        """Say it of a run when every machine lacks something for it, and when that is over."""
        able = [each for each in there if queue_of(record.stage) in each.queues]
        lacks = [each.lacks.get(record.run, "") for each in able]
        if lacks and record.waits_for != (why := lacks[0] if all(lacks) else ""):
            log.warning("%s %s", record.run, f"waits: {why}" if why else "goes on")
            self._ledger.hold(record.run, why)

    def _keep_hours(self, record: RunRecord) -> None:
        """Move a window with the clock on the wall where summer time begins or ends."""
        hours = follow_summer_time(record.hours, time.time())
        if hours != record.hours:
            self._ledger.control(record.run, hours=hours)

    def _look_after(self, run: str) -> RunRecord | None:
        """Take back dead leases, pass the barrier if it is time, and return the standing."""
        self._ledger.sweep(run)
        record = self._ledger.record(run)
        if record is None or record.ended is not None:
            return None
        if record.counts[record.stage].left == 0 and record.control is not Control.CANCEL:
            self._pass_barrier(run, record.stage)
            record = self._ledger.record(run)
        if record is None or record.ended is not None:
            return None
        self._keep_hours(record)
        return record

    def _pass_barrier(self, run: str, stage: Stage) -> None:
        try:
            order = self._orders.order(run)
            step = self._plan(order, stage, lambda of: self._ledger.items(run, of))
        except StoreError:
            raise
        except Exception as error:
            log.exception("%s: nothing can be planned after %s", run, stage)
            reason = f"nothing can be planned after {stage}: {type(error).__name__}: {error}"
            self._ledger.end(run, RunState.REFUSED, reason)
            return
        self._ledger.advance(run, stage, step.stage, step.items, aside=step.set_aside, end=step.end)

    def _top_up(
        self, waiting: Sequence[tuple[str, Stage, int]], working: int, there: Sequence[Machine]
    ) -> None:
        """Send as many tickets as there are free slots, the most urgent runs first."""
        if not waiting:
            return
        queued = self._tickets.queued()
        heard = {queue for each in there for queue in each.queues}
        # Tickets in other queues lie there until somebody comes who reads them.
        under_way = sum(count for queue, count in queued.items() if queue in heard)
        free_at_all = sum(each.slots for each in there) - working - under_way
        for run, stage, items in waiting:
            queue = queue_of(stage)
            able = [each for each in there if queue in each.queues and run not in each.lacks]
            slots = sum(each.slots for each in able)
            for _ in range(min(items, free_at_all, slots)):
                self._tickets.send(run, queue)
                free_at_all -= 1
