"""Removes the unfinished files of killed workers from the folders of runs."""

import logging
import threading
from collections.abc import Callable, Collection, Iterable

from glimsum_jobs.errors import GlimsumError, StoreError
from glimsum_jobs.ledger import Ledger

log = logging.getLogger(__name__)

LOOKS_AFTER_THE_END = 2
"""How often an ended run is looked at once more: its last files may be too young at first."""

Sweep = Callable[[str, Collection[int]], int]
"""Removes what is left of a run, given the tokens still alive; answers how many files."""


class Sweeper:
    """Sweeps every run that is open, was open a moment ago, or was known at the start.

    Parameters
    ----------
    ledger : Ledger
        Knows which tokens may still finish an item.
    sweep : callable
        Removes the files.
    every_s : float
        Seconds between rounds; longer than a lease.
    known : callable
        The runs to be looked at once at the start.
    """

    def __init__(
        self,
        ledger: Ledger,
        sweep: Sweep,
        every_s: float,
        known: Callable[[], Iterable[str]] = lambda: (),
    ) -> None:
        self._ledger = ledger
        self._sweep = sweep
        self._every_s = every_s
        self._known = known
        self._looks: dict[str, int] = {}

    def start(self, stop: threading.Event) -> threading.Thread:
        """Sweep in a thread of its own, by and by."""

        def run() -> None:
            self._try(lambda: self._looks.update(dict.fromkeys(self._known(), 1)))
            while not stop.wait(self._every_s):
                self._try(self.round)

        thread = threading.Thread(target=run, name="sweeper", daemon=True)
        thread.start()
        return thread

    def round(self) -> int:
        """Sweep once; answers how many files were removed."""
        looks = self._looks | dict.fromkeys(self._ledger.open_runs(), LOOKS_AFTER_THE_END + 1)
        removed = 0
        for run in looks:
            try:
                swept = self._sweep(run, self._ledger.tokens(run))
            except StoreError:
                raise
            except (GlimsumError, OSError) as error:
                log.warning("%s can't be swept: %s", run, error)
                continue
            if swept:
                log.warning("%s: %d files of workers that are gone removed", run, swept)
            removed += swept
        self._looks = {run: left - 1 for run, left in looks.items() if left > 1}
        return removed

    def _try(self, call: Callable[[], object]) -> None:
        try:
            call()
        except StoreError as error:
            log.warning("nothing is swept until the ledger answers: %s", error)
        except Exception:
            log.exception("sweeping failed; trying again")
