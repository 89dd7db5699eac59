"""What a wedge waits for."""

import time

import pytest

from glimsum_jobs.ledger import Control, RunState, Stage
from glimsum_jobs.orders import Order, run_name
from glimsum_services.wedge_waits import wedge_waits_for
from support.memory_ledger import MemoryLedger
from unit.jobs.test_plan import wedge_order

ORDER = wedge_order()
VERSION = run_name(ORDER.shot, ORDER.version)


class OneOrder:
    def order(self, run: str) -> Order:
        assert run == ORDER.run
        return ORDER


@pytest.fixture
def ledger() -> MemoryLedger:
    return MemoryLedger(time.time)


def advance(ledger: MemoryLedger, stage: Stage, after: Stage) -> None:
    claim = ledger.claim("m/1", VERSION)
    assert claim is not None
    ledger.done(claim, {})
    assert ledger.advance(VERSION, stage, after, ["shot"])


def test_a_wedge_waits_until_its_version_is_measured(ledger: MemoryLedger) -> None:
    ledger.open(VERSION)
    said = []
    for stage, after in ((Stage.CHECK, Stage.MEASURE), (Stage.MEASURE, Stage.SOLVE),
                         (Stage.SOLVE, Stage.COMBINE)):  # fmt: skip
        said.append(wedge_waits_for(ORDER.run, ledger, OneOrder()))
        advance(ledger, stage, after)

    assert said[0] == (
        f"{VERSION} is not measured yet (checking); the wedge is made as soon as it is"
    )
    assert all(f"{VERSION} is not measured yet (measuring)" in words for words in said[1:])
    assert wedge_waits_for(ORDER.run, ledger, OneOrder()) == ""


def test_a_paused_version_says_so_and_an_ended_one_keeps_no_wedge(ledger: MemoryLedger) -> None:
    ledger.open(VERSION)
    ledger.control(VERSION, Control.PAUSE)
    assert "(paused)" in wedge_waits_for(ORDER.run, ledger, OneOrder())

    ledger.end(VERSION, RunState.CANCELLED)
    assert wedge_waits_for(ORDER.run, ledger, OneOrder()) == ""


def test_a_version_waits_for_no_version(ledger: MemoryLedger) -> None:
    assert wedge_waits_for(VERSION, ledger, OneOrder()) == ""
