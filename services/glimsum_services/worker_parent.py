"""The parent of a worker's slots: announces them, hands out work, cleans up after them."""
# The methods of a protocol are words alone.
# pyright: reportReturnType=false

import logging
import mmap
import os
import signal
import socket
import threading
import time
from collections.abc import Callable
from importlib.metadata import version
from typing import Any, Protocol

from celery import signals

from glimsum_jobs.errors import StoreError
from glimsum_jobs.ledger import Ledger
from glimsum_services.bound import die_with_parent
from glimsum_services.settings import Settings
from glimsum_services.slot_board import SlotBoard
from glimsum_services.slot_care import SlotCare
from glimsum_services.store.machines import Machine, Machines

log = logging.getLogger(__name__)

HEARD_EVERY_S = 2.0
MOST_TOLD = 50
"""Of so many runs, the most urgent, it is announced what they lack here: about 1 ms each."""


class Dispatch(Protocol):
    """The part of a dispatcher that is needed here."""

    def start(self, stop: threading.Event) -> threading.Thread:
        """Run in a thread of its own and return it."""


class Sweeping(Protocol):
    """The part of a sweeper that is needed here."""

    def start(self, stop: threading.Event) -> threading.Thread:
        """Run in a thread of its own and return it."""


class Ahead(Protocol):
    """Something that is made ready beside the work, by a process that ends with this one."""

    def start(self) -> None:
        """Begin it, unless it is ready."""

    def stop(self) -> None:
        """End it if it still goes on; does not wait."""


class StopFlag:
    """One byte shared with the slots: raised once, seen by all, no lock to be left behind."""

    def __init__(self) -> None:
        self._byte = mmap.mmap(-1, 1)

    def raise_(self) -> None:
        """Ask every slot to stop at its next step."""
        self._byte[0] = 1

    def __call__(self) -> bool:
        """Return whether slots are asked to stop."""
        return self._byte[0] == 1


class WorkerParent:
    """Looks after the slots of one worker.

    Parameters
    ----------
    machine : str
        The worker's name; its slots are ``machine/process id``.
    settings : Settings
        Slots, queues, times.
    ledger : Ledger
        Where the slots' items are.
    machines : Machines
        Where the worker announces itself.
    dispatcher : Dispatch
        Hands out work from here too.
    stopping : StopFlag
        Shared with the slots.
    board : SlotBoard
        What each slot is at.
    lacks : callable
        What a run lacks on this machine now, in words; "" when nothing does.
    sweeper : Sweeping, optional
        Removes what killed slots left behind.
    ahead : Ahead, optional
        Begun once the worker takes work.
    """

    def __init__(
        self,
        machine: str,
        *,
        settings: Settings,
        ledger: Ledger,
        machines: Machines,
        dispatcher: Dispatch,
        stopping: StopFlag,
        board: SlotBoard,
        lacks: Callable[[str], str] = lambda _: "",
        sweeper: Sweeping | None = None,
        ahead: Ahead | None = None,
    ) -> None:
        self._machine = machine
        self._settings = settings
        self._ledger = ledger
        self._machines = machines
        self._dispatcher = dispatcher
        self._stopping = stopping
        self._care = SlotCare(machine, ledger, board, settings.grace_s)
        self._lacks = lacks
        self._sweeper = sweeper
        self._ahead = ahead
        self._over = threading.Event()
        self._wake = threading.Event()
        self._facts = Machine(
            machine=machine,
            host=socket.gethostname(),
            slots=settings.slots,
            queues=settings.queues,
            program=version("glimsum"),
            started=time.time(),
        )

    def connect(self) -> None:
        """Hang on the queue's signals; called once, before the worker starts."""
        signals.worker_ready.connect(self._ready, weak=False)
        signals.worker_process_init.connect(self._slot_begins, weak=False)
        signals.task_failure.connect(self._slot_may_be_dead, weak=False)
        signals.worker_shutting_down.connect(self._shutting_down, weak=False)
        signals.worker_shutdown.connect(self._shut_down, weak=False)

    def _ready(self, **_: Any) -> None:
        released = self._try("release items of an earlier start", self._release)
        if released:
            log.warning("%d items of an earlier start of this worker go back", released)
        threading.Thread(target=self._look_after, name="slots", daemon=True).start()
        threading.Thread(target=self._announce, name="announce", daemon=True).start()
        self._dispatcher.start(self._over)
        if self._sweeper is not None:
            self._sweeper.start(self._over)
        if self._ahead is not None:
            self._try("make ready beside the work", self._ahead.start)

    def _release(self) -> int:
        why = "its worker died or was killed, and has started again"
        return self._ledger.release_worker(self._machine, why=why)

    def _slot_begins(self, **_: Any) -> None:
        die_with_parent(signal.SIGKILL)

    def _slot_may_be_dead(self, **_: Any) -> None:
        self._wake.set()

    def _look_after(self) -> None:
        """Give back at once what dead slots held, and end those that hang."""
        while not self._over.is_set():
            self._try("look for dead slots", self._care.look)
            self._wake.wait(self._settings.tick_s)
            self._wake.clear()

    def _announce(self) -> None:
        """Say that this worker is there, and what runs lack here; storage may make it wait."""
        while not self._over.is_set():
            self._try("announce this worker", lambda: self._machines.hear(self._now()))
            self._over.wait(HEARD_EVERY_S)

    def _now(self) -> Machine:
        told = {run: self._lacks(run) for run in self._ledger.open_runs()[:MOST_TOLD]}
        return self._facts.model_copy(
            update={"lacks": {r: words for r, words in told.items() if words}}
        )

    def _try(self, what: str, call: Callable[[], Any]) -> Any:
        try:
            return call()
        except StoreError as error:
            log.warning("could not %s: %s", what, error)
        except Exception:  # the thread that asks must outlive it
            log.exception("could not %s", what)
        return None

    def _shutting_down(self, **_: Any) -> None:
        self._stopping.raise_()
        if self._ahead is not None:
            self._ahead.stop()
        threading.Thread(target=self._end_hard, name="end", daemon=True).start()

    def _end_hard(self) -> None:
        """After the grace, take unfinished items back uncounted and end this worker at once.

        The slots end with it (see `die_with_parent`); a slot in one long call can't be asked.
        """
        time.sleep(self._settings.grace_s)
        log.warning("slots still at work after %g s are ended", self._settings.grace_s)
        self._farewell()
        os.kill(os.getpid(), signal.SIGKILL)

    def _farewell(self) -> None:
        self._over.set()
        self._try(
            "give items back", lambda: self._ledger.release_worker(self._machine, counted=False)
        )
        self._try("sign off", lambda: self._machines.leave(self._machine))

    def _shut_down(self, **_: Any) -> None:
        self._farewell()
