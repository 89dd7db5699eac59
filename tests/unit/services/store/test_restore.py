"""A run that is put back stands in the ledger exactly as one that was worked through."""

from typing import Any

import pytest
import redis

from glimsum_jobs.ledger import (
    Cause,
    Control,
    Failure,
    Finish,
    Hours,
    ItemRecord,
    ItemState,
    RunState,
    Stage,
)
from glimsum_jobs.restored import RestoredRun, Wishes
from glimsum_services.store.ledger import RedisLedger
from glimsum_services.store.restore import Restorer

WORKED, RESTORED = "worked/v001", "restored/v001"
DEAD = Failure(cause=Cause.BAD_SOURCE, kind="SourceError", message="cut off", worker="m/1")


@pytest.fixture
def ledger(server: redis.Redis) -> RedisLedger:
    return RedisLedger(server, lease_s=5.0, back_off_s=0.0)


def result(item: str) -> dict[str, Any]:
    return {"frame": int(item), "digest": f"d{item}"}


def work(ledger: RedisLedger, *, until_end: bool = False) -> None:
    ledger.open(WORKED, priority=70)
    claim = ledger.claim("m/1", WORKED)
    assert claim is not None
    ledger.done(claim, {"free_bytes": 1})
    frames = [str(1001 + n) for n in range(1200)]
    ledger.advance(WORKED, Stage.CHECK, Stage.COMBINE, frames, aside=[("1003", DEAD)])
    for _ in range(1199 if until_end else 3):
        claim = ledger.claim("m/1", WORKED)
        assert claim is not None
        ledger.done(claim, result(claim.item))
    if until_end:
        ledger.advance(WORKED, Stage.COMBINE, None, [])


def told(ledger: RedisLedger, **changes: Any) -> RestoredRun:
    stages = {stage: tuple(ledger.items(WORKED, stage)) for stage in (Stage.CHECK, Stage.COMBINE)}
    record = ledger.record(WORKED)
    assert record is not None
    usual: dict[str, Any] = {
        "run": RESTORED,
        "stages": stages,
        "begun": record.begun,
        "ended": record.ended,
        "state": record.state if record.ended else None,
        "wishes": Wishes(control=record.control, priority=record.priority, hours=record.hours),
        "damaged": (),
    }
    return RestoredRun(**(usual | changes))


@pytest.mark.parametrize("until_end", [False, True])
def test_every_answer_is_the_one_of_a_run_that_was_worked_through(
    server: redis.Redis, ledger: RedisLedger, until_end: bool
) -> None:
    work(ledger, until_end=until_end)
    assert Restorer(server).restore(told(ledger))

    worked, restored = ledger.record(WORKED), ledger.record(RESTORED)
    assert worked is not None
    assert restored is not None
    changing = {"run": "", "revision": 0}
    assert worked.model_copy(update=changing) == restored.model_copy(update=changing)
    assert restored.revision > worked.revision
    for stage in (Stage.CHECK, Stage.COMBINE):
        assert ledger.items(RESTORED, stage) == ledger.items(WORKED, stage)
    assert set(ledger.open_runs()) == (set() if until_end else {WORKED, RESTORED})
    first, second = ledger.claim("m/2", WORKED), ledger.claim("m/3", RESTORED)
    if first is None or second is None:
        assert until_end
        assert (first, second) == (None, None)
        return
    assert (first.stage, first.item, first.tries) == (second.stage, second.item, second.tries)
    # What a worker still holds from before the loss is refused, or known as done.
    late = first.model_copy(update={"run": RESTORED})
    assert ledger.done(late, result(late.item)) is Finish.REFUSED
    known = late.model_copy(update={"item": "1001"})
    assert ledger.done(known, result("1001")) is Finish.DUPLICATE
    assert ledger.done(known, {"digest": "other"}) is Finish.CONFLICT
    assert ledger.done(second, result(second.item)) is Finish.RECORDED
    # Frames that were set aside can be tried again.
    for run in (WORKED, RESTORED):
        ledger.retry(run, Stage.COMBINE)
    assert ledger.items(RESTORED, Stage.COMBINE)[2] == ledger.items(WORKED, Stage.COMBINE)[2]


def test_a_restored_run_goes_on_to_its_end(server: redis.Redis, ledger: RedisLedger) -> None:
    work(ledger)
    Restorer(server).restore(told(ledger))
    for _ in range(1200 - 4):
        claim = ledger.claim("m/1", RESTORED)
        assert claim is not None
        ledger.done(claim, result(claim.item))
    assert ledger.claim("m/1", RESTORED) is None
    assert ledger.advance(RESTORED, Stage.COMBINE, Stage.FINISH, ["shot"])
    claim = ledger.claim("m/1", RESTORED)
    assert claim is not None
    ledger.done(claim, {})
    assert ledger.advance(RESTORED, Stage.FINISH, None, [])
    record = ledger.record(RESTORED)
    assert record is not None
    assert (record.state, record.counts[Stage.COMBINE].done) == (RunState.DONE_WITH_REMARKS, 1199)


def test_a_run_that_is_there_is_left_alone_unless_it_has_ended_and_is_to_be_replaced(
    server: redis.Redis, ledger: RedisLedger
) -> None:
    work(ledger)
    again = told(ledger).model_copy(update={"run": WORKED})
    before = ledger.record(WORKED)
    assert not Restorer(server).restore(again)
    assert not Restorer(server).restore(again, replace=True)
    assert ledger.record(WORKED) == before

    ledger.end(WORKED, RunState.DONE)
    assert not Restorer(server).restore(again)
    assert Restorer(server).restore(again, replace=True)
    record = ledger.record(WORKED)
    assert record is not None
    assert (record.ended, record.counts[Stage.COMBINE].waiting) == (None, 1196)


def test_wishes_come_back_and_hold_the_run(server: redis.Redis, ledger: RedisLedger) -> None:
    work(ledger)
    hours = Hours(not_before=4e9, window=(1300, 300))
    Restorer(server).restore(told(ledger, wishes=Wishes(priority=10, hours=hours)))
    record = ledger.record(RESTORED)
    assert record is not None
    assert (record.priority, record.hours, record.control) == (10, hours, Control.RUN)
    assert ledger.claim("m/1", RESTORED) is None
    paused = told(ledger, run="paused/v001", wishes=Wishes(control=Control.PAUSE))
    Restorer(server).restore(paused)
    assert ledger.claim("m/1", "paused/v001") is None
    assert ledger.open_runs() == [WORKED, "paused/v001", RESTORED]


def test_watchers_hear_of_it(server: redis.Redis, ledger: RedisLedger) -> None:
    work(ledger)
    before = server.xlen("glimsum:events")
    Restorer(server).restore(told(ledger))
    assert server.xlen("glimsum:events") == before + 1


def test_a_run_nobody_began_waits_for_its_check(server: redis.Redis, ledger: RedisLedger) -> None:
    waiting = ItemRecord(item="shot", state=ItemState.WAITING)
    fresh = RestoredRun(
        run=RESTORED,
        stages={Stage.CHECK: (waiting,)},
        begun=1.8e9,
        ended=None,
        state=None,
        wishes=Wishes(),
        damaged=(),
    )
    Restorer(server).restore(fresh)
    claim = ledger.claim("m/1", RESTORED)
    assert claim is not None
    assert (claim.stage, claim.item, claim.tries) == (Stage.CHECK, "shot", 0)
