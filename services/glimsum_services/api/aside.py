"""Which frames were set aside, read from the ledger no more often than they change."""

import threading
import time

from glimsum_jobs.ledger import ItemRecord, ItemState, Ledger, RunRecord, Stage

FRESH_S = 5.0
"""An answer as old as this is read again: a frame may have taken the place of another."""
MOST_KEPT = 512


class AsideFrames:
    """Reads the frames that were set aside.

    All frames of a run are read for it, a quarter of a second for ten thousand frames; watched
    four times a second that would be a processor's work.

    Parameters
    ----------
    ledger : Ledger
        Where they stand.
    """

    def __init__(self, ledger: Ledger) -> None:
        self._ledger = ledger
        self._lock = threading.Lock()
        self._kept: dict[str, tuple[int, float, list[ItemRecord]]] = {}

    def of(self, record: RunRecord) -> list[ItemRecord]:
        """Return the frames of a run that were set aside, in order."""
        counts = record.counts.get(Stage.COMBINE)
        if counts is None or not counts.set_aside:
            self._kept.pop(record.run, None)
            return []
        now = time.monotonic()
        count, read, items = self._kept.get(record.run, (0, 0.0, []))
        if count == counts.set_aside and now - read < FRESH_S:
            return items
        items = [
            item
            for item in self._ledger.items(record.run, Stage.COMBINE)
            if item.state is ItemState.SET_ASIDE
        ]
        with self._lock:
            if len(self._kept) >= MOST_KEPT:
                self._kept.clear()
            self._kept[record.run] = (counts.set_aside, now, items)
        return items
