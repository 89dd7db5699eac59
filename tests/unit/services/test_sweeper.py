"""Which runs are swept, and with which tokens."""

import time
from collections.abc import Collection

import pytest

from glimsum_jobs.errors import SourceError, StoreError
from glimsum_jobs.ledger import RunState
from glimsum_services.sweeper import Sweeper
from support.ledger_contract import RUN, take, to_combine
from support.memory_ledger import MemoryLedger


def test_open_runs_are_swept_with_their_live_tokens_and_twice_after_their_end() -> None:
    ledger = MemoryLedger(time.time)
    to_combine(ledger, 2)
    claim = take(ledger)
    swept: list[tuple[str, list[int]]] = []

    def sweep(run: str, live: Collection[int]) -> int:
        swept.append((run, sorted(live)))
        return 1

    sweeper = Sweeper(ledger, sweep, every_s=60)

    assert sweeper.round() == 1
    ledger.end(RUN, RunState.CANCELLED)
    assert [sweeper.round() for _ in range(4)] == [1, 1, 0, 0]
    assert swept == [(RUN, [claim.token]), (RUN, []), (RUN, [])]


def test_a_run_that_can_not_be_swept_keeps_no_other_from_it() -> None:
    ledger = MemoryLedger(time.time)
    for run in ("a/v001", "b/v001"):
        ledger.open(run)

    def sweep(run: str, live: Collection[int]) -> int:
        if run.startswith("a"):
            raise SourceError("the folder is not there")
        return 3

    assert Sweeper(ledger, sweep, every_s=60).round() == 3


def test_while_the_ledger_is_away_nothing_is_swept(monkeypatch: pytest.MonkeyPatch) -> None:
    ledger = MemoryLedger(time.time)
    to_combine(ledger, 1)

    def away(run: str) -> set[int]:
        raise StoreError("no answer")

    monkeypatch.setattr(ledger, "tokens", away)
    with pytest.raises(StoreError):
        Sweeper(ledger, lambda *_: pytest.fail("swept without knowing what lives"), 60).round()
