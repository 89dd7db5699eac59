"""What a parent does for its slots: gives back what the dead held, ends those that hang."""

import logging
import os
import signal
import time
from collections.abc import Mapping
from contextlib import suppress

from glimsum_jobs.ledger import Control, Holding, Ledger
from glimsum_services.slot_board import SlotBoard

log = logging.getLogger(__name__)


class SlotCare:
    """Looks after the slots of one worker; nothing here waits for a slot to answer.

    Parameters
    ----------
    machine : str
        The worker's name; its slots are ``machine/process id``.
    ledger : Ledger
        Where the slots' items are.
    board : SlotBoard
        What each slot is at.
    grace_s : float
        How long a slot may go on with an item of a cancelled run.
    """

    def __init__(self, machine: str, ledger: Ledger, board: SlotBoard, grace_s: float) -> None:
        self._machine = machine
        self._ledger = ledger
        self._board = board
        self._grace_s = grace_s
        self._why: dict[int, str] = {}
        self._cancelled: dict[tuple[str, Holding], float] = {}

    def look(self) -> int:
        """Look once; answers how many items went back. StoreError when the ledger is away."""
        self.end_overdue()  # needs no ledger
        released = 0
        held = self._ledger.holders(self._machine)
        self.end_cancelled(held)
        for slot, holding in held.items():
            process = int(slot.rpartition("/")[2])
            if not is_running(process):
                asked_for = holding.control is Control.CANCEL
                why = self._why.pop(process, "")
                log.warning("slot %s died; its item goes back. %s", slot, why)
                released += self._ledger.release_worker(slot, counted=not asked_for, why=why)
        return released

    def end_overdue(self) -> None:
        """Kill the slots whose item takes longer than it may."""
        for each in self._board.overdue():
            why = f"it took longer than {each.limit_s:g} s; its process was ended"
            log.error("slot %s/%d hangs: %s", self._machine, each.process_id, why)
            self._why[each.process_id] = why
            _end(each.process_id)
            self._board.forget(each.process_id)

    def end_cancelled(self, held: Mapping[str, Holding]) -> None:
        """Kill the slots that go on with a cancelled run after the grace."""
        now = time.monotonic()
        cancelled = {
            (slot, holding) for slot, holding in held.items() if holding.control is Control.CANCEL
        }
        self._cancelled = {each: self._cancelled.get(each, now) for each in cancelled}
        for (slot, holding), since in self._cancelled.items():
            if now - since > self._grace_s:
                log.warning("slot %s does not leave the cancelled %s, is ended", slot, holding.run)
                _end(int(slot.rpartition("/")[2]))


def is_running(process: int) -> bool:
    """Return whether a child of this process still runs; one not yet waited for does not."""
    try:
        return os.waitid(os.P_PID, process, os.WEXITED | os.WNOHANG | os.WNOWAIT) is None
    except ChildProcessError:
        return False


def _end(process: int) -> None:
    """Kill a child of ours and see it go; a number that is no child of ours is left alone."""
    if is_running(process):
        with suppress(ProcessLookupError):
            os.kill(process, signal.SIGKILL)
        deadline = time.monotonic() + 1.0
        while is_running(process) and time.monotonic() < deadline:
            time.sleep(0.01)
