"""Keeping an item: a thread beats for it, and the work asks whether it is still ours."""

import logging
import threading
import time
from collections.abc import Callable
from types import TracebackType
from typing import Self

from glimsum_jobs.errors import LeaseLost, StoreError
from glimsum_jobs.ledger import Claim, Control, Ledger
from glimsum_jobs.problems import Place

log = logging.getLogger(__name__)

FRESH_S = 0.5
"""An answer this young is believed without asking again."""


class LeaseKeeper:
    """Beats for one claim while its work runs; a context manager.

    Parameters
    ----------
    ledger : Ledger
        Where the claim comes from.
    claim : Claim
        The item in hand.
    beat_s : float
        Seconds between beats; a quarter of the lease is right.
    stopping : callable
        True once this worker is asked to stop.
    """

    def __init__(
        self, ledger: Ledger, claim: Claim, beat_s: float, stopping: Callable[[], bool]
    ) -> None:
        self._ledger = ledger
        self._claim = claim
        self._beat_s = beat_s
        self._stopping = stopping
        self._heard = Control.RUN
        self._heard_at = time.monotonic()
        self._lost: LeaseLost | None = None
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._beat_on, name="lease", daemon=True)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._over.set()
        self._thread.join()

    def _beat_on(self) -> None:
        while not self._over.wait(self._beat_s):
            self._beat()

    def _beat(self) -> None:
        try:
            self._heard = self._ledger.beat(self._claim)
            self._heard_at = time.monotonic()
        except LeaseLost as error:
            self._lost = error
        except StoreError as error:
            # No answer is not a refusal: the work goes on, and the token decides at the end.
            log.warning("%s %s: %s", self._claim.run, self._claim.item, error)

    def still_mine(self) -> Control:
        """Return what is wanted of the run; work stops by letting the error pass.

        To be asked between the steps of an item and right before a file is renamed into place.
        A server that does not answer counts as "still ours".

        Raises
        ------
        LeaseLost
            Another worker holds the item, its run was cancelled, or this worker is stopping.
        """
        if self._lost is None and time.monotonic() - self._heard_at > FRESH_S:
            self._beat()
        if self._lost is not None:
            raise self._lost
        if self._heard is Control.CANCEL:
            raise self._left("its run was cancelled")
        if self._stopping():
            raise self._left("this worker is stopping")
        return self._heard

    def _left(self, why: str) -> LeaseLost:
        return LeaseLost(
            f"{self._claim.run}, {self._claim.stage} {self._claim.item} is left unfinished: {why}",
            place=Place(shot=self._claim.run.partition("/")[0]),
            remedy="Nothing to do: the item is given back and no try is counted.",
        )
