"""What each slot is at now, in memory shared by a worker's processes: no lock, no ledger."""

import mmap
import os
import struct
import time
from collections.abc import Callable
from dataclasses import dataclass

from billiard.process import current_process

from glimsum_jobs.ledger import Stage

_ROW = struct.Struct("=qdd")
"""Process id, begin of the item (monotonic seconds, 0 for none), its limit in seconds."""


@dataclass(frozen=True)
class Overdue:
    """A slot that has been at one item longer than it may."""

    process_id: int
    limit_s: float


class SlotBoard:
    """One row a slot; a slot writes its own, the parent reads all.

    A slot inside one long call can't be asked anything, and its beats may go on all the same; so
    the parent looks here. The clock is the machine's monotonic one, which stands still while the
    machine sleeps.

    Parameters
    ----------
    slots : int
        How many slots there are.
    limit_of : callable
        How long an item of a stage may take, s.
    """

    def __init__(self, slots: int, limit_of: Callable[[Stage], float]) -> None:
        self._slots = slots
        self._limit_of = limit_of
        self._rows = mmap.mmap(-1, _ROW.size * slots)

    def begin(self, stage: Stage) -> None:
        """Say that this process begins an item of `stage`."""
        self._write(_ROW.pack(os.getpid(), time.monotonic(), self._limit_of(stage)))

    def end(self) -> None:
        """Say that this process has no item any more."""
        self._write(_ROW.pack(os.getpid(), 0.0, 0.0))

    def overdue(self) -> list[Overdue]:
        """Return the slots whose item takes longer than it may."""
        now = time.monotonic()
        rows = [_ROW.unpack_from(self._rows, row * _ROW.size) for row in range(self._slots)]
        return [Overdue(pid, limit) for pid, begun, limit in rows if begun and now - begun > limit]

    def forget(self, process_id: int) -> None:
        """Clear the row of a process that is gone."""
        for row in range(self._slots):
            if _ROW.unpack_from(self._rows, row * _ROW.size)[0] == process_id:
                _ROW.pack_into(self._rows, row * _ROW.size, 0, 0.0, 0.0)

    def _write(self, row: bytes) -> None:
        # The pool numbers its places from 0; a process that takes another's place has its number.
        number = getattr(current_process(), "index", None) or 0
        start = (number % self._slots) * _ROW.size
        self._rows[start : start + _ROW.size] = row
