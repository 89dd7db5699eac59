"""Tickets against the ledger in memory."""

import time
from typing import Any

import pytest
from celery import Celery

from glimsum_jobs.errors import LeaseLost, LightError, PathError, SourceError, StoreError
from glimsum_jobs.ledger import Cause, Claim, Control, Counts, Finish, ItemState, Result, Stage
from glimsum_jobs.problems import Place
from glimsum_jobs.tickets import HEAVY, WORK_ON_SHOT
from glimsum_workers.celery_tasks import Perform, Workplace, describe_failure, register_tasks
from support.ledger_contract import RUN, counts, to_combine
from support.memory_ledger import MemoryLedger

STAGES = [Stage.COMBINE]


class Named:
    def order(self, run: str) -> str:
        return run


@pytest.fixture
def ledger() -> MemoryLedger:
    return MemoryLedger(time.time, back_off_s=60)


def place(ledger: MemoryLedger, perform: Perform[str], **given: Any) -> Workplace[str]:
    return Workplace(
        ledger=ledger, orders=Named(), perform=perform, machine="m", beat_s=0.05, **given
    )


def test_a_ticket_works_off_all_items(ledger: MemoryLedger) -> None:
    to_combine(ledger, 5)

    left = place(ledger, lambda order, claim, _: {"digest": claim.item}).work_on_shot(RUN, STAGES)

    assert left is None
    assert counts(ledger) == Counts(done=5)


def test_a_ticket_ends_after_its_time_and_says_there_is_more(ledger: MemoryLedger) -> None:
    to_combine(ledger, 5)

    def slow(order: str, claim: Claim, still_mine: object) -> Result:
        time.sleep(0.06)
        return {}

    assert place(ledger, slow, ticket_s=0.1).work_on_shot(RUN, STAGES) is Stage.COMBINE
    assert counts(ledger) == Counts(done=2, waiting=3)


def test_a_ticket_for_other_stages_takes_nothing(ledger: MemoryLedger) -> None:
    to_combine(ledger, 2)

    place(ledger, lambda *_: {}).work_on_shot(RUN, [Stage.CHECK, Stage.SOLVE])

    assert counts(ledger) == Counts(waiting=2)


@pytest.mark.parametrize(
    ("error", "cause", "state"),
    [
        (ValueError("no light"), Cause.ERROR, ItemState.WAITING),
        (
            SourceError("cut off", place=Place(file="haze.0104.jpg"), seen="12 bytes"),
            Cause.BAD_SOURCE,
            ItemState.SET_ASIDE,
        ),
    ],
)
def test_an_error_is_kept_with_its_cause_and_the_next_item_is_taken(
    ledger: MemoryLedger, error: Exception, cause: Cause, state: ItemState
) -> None:
    to_combine(ledger, 2)

    def fail_first(order: str, claim: Claim, still_mine: object) -> Result:
        if claim.item == "1001":
            raise error
        return {"digest": "b"}

    place(ledger, fail_first).work_on_shot(RUN, STAGES)

    first, second = ledger.items(RUN, Stage.COMBINE)
    assert (first.state, second.state) == (state, ItemState.DONE)
    assert first.failure is not None
    assert (first.failure.cause, first.failure.message) == (cause, str(error))
    assert first.failure.kind == type(error).__name__


def test_a_failure_names_file_and_memory_and_keeps_the_end_of_its_traceback() -> None:
    with pytest.raises(SourceError) as caught:
        raise SourceError("x" * 40_000 + " the end", place=Place(file="haze.0104.jpg"))

    failure = describe_failure(caught.value, "m/1")

    assert failure.files == ("haze.0104.jpg",)
    assert len(failure.traceback) == 16 * 1024
    assert "the end (file haze.0104.jpg)" in failure.traceback
    assert failure.peak_memory_bytes is not None
    assert 10_000_000 < failure.peak_memory_bytes < 100_000_000_000


@pytest.mark.parametrize("error", [LightError("no light"), PathError("outside")])
def test_what_can_not_change_is_set_aside_at_once(ledger: MemoryLedger, error: Exception) -> None:
    to_combine(ledger, 1)

    def fail(order: str, claim: Claim, still_mine: object) -> Result:
        raise error

    place(ledger, fail).work_on_shot(RUN, STAGES)

    assert counts(ledger) == Counts(set_aside=1)


def test_nothing_is_begun_while_the_machine_lacks_something(ledger: MemoryLedger) -> None:
    to_combine(ledger, 2)
    lacks = iter(["", "room: 0.1 GB free"])

    left = place(ledger, lambda *_: {}, lacks=lambda _: next(lacks)).work_on_shot(RUN, STAGES)

    assert left is None
    assert counts(ledger) == Counts(done=1, waiting=1)


@pytest.mark.parametrize("error", [SourceError("no such file"), OSError("no space left")])
def test_a_failure_while_the_machine_lacks_something_counts_no_try(
    ledger: MemoryLedger, error: Exception
) -> None:
    to_combine(ledger, 1)
    lacks = [""]

    def unmounted(order: str, claim: Claim, still_mine: object) -> Result:
        lacks[0] = "storage: the root plates is empty"
        raise error

    place(ledger, unmounted, lacks=lambda _: lacks[0]).work_on_shot(RUN, STAGES)

    assert counts(ledger) == Counts(waiting=1)
    [item] = ledger.items(RUN, Stage.COMBINE)
    assert (item.tries, item.failure) == (0, None)


def test_a_lost_lease_leaves_no_trace_of_a_try(ledger: MemoryLedger) -> None:
    to_combine(ledger, 1)
    worker = place(ledger, lambda *_: {})

    def lose(order: str, claim: Claim, still_mine: object) -> Result:
        raise LeaseLost("not ours")

    claim = ledger.claim("m/1", RUN)
    assert claim is not None
    place(ledger, lose).work_on_item(claim)

    assert counts(ledger) == Counts(waiting=1)
    assert ledger.items(RUN, Stage.COMBINE)[0].tries == 0
    worker.work_on_shot(RUN, STAGES)
    assert counts(ledger) == Counts(done=1)


def test_a_finished_item_is_reported_until_the_ledger_answers(
    ledger: MemoryLedger, monkeypatch: pytest.MonkeyPatch
) -> None:
    to_combine(ledger, 1)
    done = ledger.done
    calls: list[str] = []

    def away_twice(claim: Claim, result: Result) -> Finish:
        calls.append(claim.item)
        if len(calls) < 3:
            raise StoreError("no answer")
        return done(claim, result)

    monkeypatch.setattr(ledger, "done", away_twice)
    monkeypatch.setattr(time, "sleep", lambda _: None)
    place(ledger, lambda *_: {"digest": "a"}).work_on_shot(RUN, STAGES)

    assert calls == ["1001"] * 3
    assert counts(ledger) == Counts(done=1)


def test_beats_go_on_while_the_work_runs(ledger: MemoryLedger) -> None:
    ledger.lease_s = 0.2
    to_combine(ledger, 1)

    def long(order: str, claim: Claim, still_mine: object) -> Result:
        for _ in range(10):
            time.sleep(0.05)
            ledger.sweep(RUN)
        return {}

    place(ledger, long).work_on_shot(RUN, STAGES)

    assert counts(ledger) == Counts(done=1)
    assert ledger.items(RUN, Stage.COMBINE)[0].failure is None


@pytest.mark.parametrize("how", ["cancel", "stop"])
def test_work_that_asks_is_told_to_leave(ledger: MemoryLedger, how: str) -> None:
    to_combine(ledger, 1)
    stopping = [False]

    def asks(order: str, claim: Claim, still_mine: Any) -> Result:
        assert still_mine() is Control.RUN
        if how == "cancel":
            ledger.control(RUN, Control.CANCEL)
        stopping[0] = how == "stop"
        for _ in range(40):
            time.sleep(0.05)
            still_mine()
        return {}

    place(ledger, asks, stopping=lambda: stopping[0]).work_on_shot(RUN, STAGES)

    item = ledger.items(RUN, Stage.COMBINE)[0]
    assert item.result is None
    assert item.tries == 0


def test_the_task_is_known_by_its_name_and_sends_itself_on(ledger: MemoryLedger) -> None:
    to_combine(ledger, 3)
    app = Celery("test", broker="memory://", set_as_current=False)
    sent: list[tuple[str, list[Any], str]] = []
    app.send_task = lambda name, args, queue: sent.append((name, args, queue))  # type: ignore[method-assign,assignment,misc]  # what is sent is looked at

    def slow(order: str, claim: Claim, still_mine: object) -> Result:
        time.sleep(0.05)
        return {}

    register_tasks(app, place(ledger, slow, ticket_s=0.01))
    task = app.tasks[WORK_ON_SHOT]
    task(RUN, ["combine"])

    assert task.acks_late is False
    assert task.ignore_result is True
    assert sent == [(WORK_ON_SHOT, [RUN, ["combine"]], HEAVY)]


WEDGE, ALL = "mole_040/w001", [Stage.COMBINE, Stage.WEDGE]


def test_a_wedge_comes_before_the_next_frame_and_the_run_goes_on(ledger: MemoryLedger) -> None:
    to_combine(ledger, 3)
    made: list[str] = []

    def perform(order: str, claim: Claim, _: object) -> Result:
        made.append(f"{claim.run} {claim.item}")
        if len(made) == 1:
            ledger.open(WEDGE, priority=100, stage=Stage.WEDGE)
        return {"digest": claim.item}

    assert place(ledger, perform).work_on_shot(RUN, ALL) is None

    assert made == [f"{RUN} 1001", f"{WEDGE} shot", f"{RUN} 1002", f"{RUN} 1003"]


def test_a_wedge_another_slot_has_or_this_machine_can_t_make_keeps_no_slot(
    ledger: MemoryLedger,
) -> None:
    to_combine(ledger, 2)
    for run in (WEDGE, "mole_040/w002"):
        ledger.open(run, priority=100, stage=Stage.WEDGE)
    lacks = {WEDGE: "it is not measured yet"}
    here = place(ledger, lambda *_: {}, lacks=lambda run: lacks.get(run, ""))

    held = ledger.claim("other/1", "mole_040/w002")
    assert held is not None
    here.work_on_shot(RUN, [*ALL])
    assert counts(ledger) == Counts(done=2)
    for run in (WEDGE, "mole_040/w002"):
        assert [i.tries for i in ledger.items(run, Stage.WEDGE)] == [int(run != WEDGE)]
    ledger.give_back(held)
    here.work_on_shot(RUN, ALL)
    assert ledger.items(WEDGE, Stage.WEDGE)[0].state is ItemState.WAITING
    assert ledger.items("mole_040/w002", Stage.WEDGE)[0].state is ItemState.DONE


def test_a_ticket_for_light_work_takes_no_wedge(ledger: MemoryLedger) -> None:
    ledger.open(RUN)
    ledger.open(WEDGE, priority=100, stage=Stage.WEDGE)

    place(ledger, lambda *_: {}).work_on_shot(RUN, [Stage.CHECK, Stage.SOLVE])

    assert ledger.items(WEDGE, Stage.WEDGE)[0].state is ItemState.WAITING
    assert ledger.items(RUN, Stage.CHECK)[0].state is ItemState.DONE
