"""The promises every ledger keeps; one class, run against the one in memory and the real one."""

from collections.abc import Callable

import pytest

from glimsum_jobs.errors import LeaseLost
from glimsum_jobs.ledger import (
    SINGLE_ITEM,
    Cause,
    Claim,
    Control,
    Counts,
    Failure,
    Finish,
    ItemState,
    Ledger,
    RunState,
    Stage,
)

RUN = "mole_040/v001"
LEASE_S = 0.4
BACK_OFF_S = 0.1
ERROR = Failure(cause=Cause.ERROR, kind="ValueError", message="frame 1002 has no light")
DEAD = Failure(cause=Cause.BAD_SOURCE, kind="SourceError", message="haze.0104.jpg is cut off")


def take(ledger: Ledger, worker: str = "m/1") -> Claim:
    claim = ledger.claim(worker, RUN)
    assert claim is not None
    return claim


def to_combine(ledger: Ledger, frames: int = 3) -> list[str]:
    ledger.open(RUN)
    ledger.done(take(ledger), {})
    items = [str(1001 + frame) for frame in range(frames)]
    assert ledger.advance(RUN, Stage.CHECK, Stage.COMBINE, items)
    return items


def state(ledger: Ledger) -> RunState:
    record = ledger.record(RUN)
    assert record is not None
    return record.state


def counts(ledger: Ledger, stage: Stage = Stage.COMBINE) -> Counts:
    record = ledger.record(RUN)
    assert record is not None
    return record.counts[stage]


class LedgerContract:
    """Needs the fixtures `ledger` (LEASE_S, BACK_OFF_S) and `sleep`."""

    def test_a_run_opens_at_its_check_with_one_item(self, ledger: Ledger) -> None:
        ledger.open(RUN)
        ledger.open(RUN, priority=90)

        record = ledger.record(RUN)

        assert record is not None
        assert (record.state, record.stage) == (RunState.CHECKING, Stage.CHECK)
        assert record.counts == {Stage.CHECK: Counts(waiting=1)}
        assert record.priority == 50
        assert [item.item for item in ledger.items(RUN, Stage.CHECK)] == [SINGLE_ITEM]

    def test_unknown_run_has_no_record_and_no_work(self, ledger: Ledger) -> None:
        assert ledger.record("nobody/v001") is None
        assert ledger.claim("m/1", "nobody/v001") is None
        assert ledger.open_runs() == []

    def test_items_are_taken_each_once(self, ledger: Ledger) -> None:
        items = to_combine(ledger, 4)

        taken = [take(ledger, f"m/{n}").item for n in range(4)]

        assert sorted(taken) == items
        assert ledger.claim("m/9", RUN) is None
        assert counts(ledger) == Counts(working=4)

    def test_claim_keeps_to_the_stages_asked_for(self, ledger: Ledger) -> None:
        to_combine(ledger)

        assert ledger.claim("m/1", RUN, [Stage.CHECK, Stage.SOLVE]) is None
        assert ledger.claim("m/1", RUN, [Stage.COMBINE]) is not None

    def test_every_change_raises_the_revision(self, ledger: Ledger) -> None:
        seen = []
        ledger.open(RUN)
        for act in (
            lambda: ledger.done(take(ledger), {}),
            lambda: ledger.control(RUN, Control.RUN),
        ):
            record = ledger.record(RUN)
            assert record is not None
            seen.append(record.revision)
            act()
        record = ledger.record(RUN)
        assert record is not None
        seen.append(record.revision)

        assert seen == sorted(set(seen))

    def test_a_result_is_kept_and_a_repeat_is_the_same_answer(self, ledger: Ledger) -> None:
        to_combine(ledger)
        claim = take(ledger)

        first = ledger.done(claim, {"digest": "abc", "remarks": []})
        again = ledger.done(claim, {"digest": "abc", "remarks": []})

        assert (first, again) == (Finish.RECORDED, Finish.RECORDED)
        assert ledger.result(RUN, Stage.COMBINE, claim.item) == {"digest": "abc", "remarks": []}
        assert counts(ledger).done == 1

    def test_results_of_several_stages_are_read_in_the_order_asked_for(
        self, ledger: Ledger
    ) -> None:
        ledger.open(RUN)
        ledger.done(take(ledger), {"problems": []})
        ledger.advance(RUN, Stage.CHECK, Stage.COMBINE, ["1001", "1002"])
        ledger.done(take(ledger), {"frame": 1001})

        frames = [(Stage.COMBINE, item) for item in ("1002", "1001", "7")]
        found = ledger.results(RUN, [*frames, (Stage.CHECK, SINGLE_ITEM)])

        assert list(found) == [None, {"frame": 1001}, None, {"problems": []}]
        assert list(ledger.results(RUN, [])) == []

    @pytest.mark.parametrize(
        ("digest", "expected"), [("abc", Finish.DUPLICATE), ("xyz", Finish.CONFLICT)]
    )
    def test_late_result_of_an_old_holder(
        self,
        ledger: Ledger,
        sleep: Callable[[float], None],
        digest: str,
        expected: Finish,
    ) -> None:
        to_combine(ledger, 1)
        old = take(ledger, "m/1")
        sleep(LEASE_S * 1.5)
        new = take(ledger, "m/2")

        refused = ledger.done(old, {"digest": digest})
        ledger.done(new, {"digest": "abc"})
        late = ledger.done(old, {"digest": digest})

        assert (refused, late) == (Finish.REFUSED, expected)
        assert ledger.result(RUN, Stage.COMBINE, "1001") == {"digest": "abc"}
        record = ledger.record(RUN)
        assert record is not None
        assert record.conflicts == (1 if expected is Finish.CONFLICT else 0)

    def test_a_lapsed_lease_does_no_harm_while_nobody_took_the_item(
        self, ledger: Ledger, sleep: Callable[[float], None]
    ) -> None:
        to_combine(ledger, 1)
        claim = take(ledger)
        sleep(LEASE_S * 1.5)
        ledger.sweep(RUN)

        assert counts(ledger) == Counts(waiting=1)
        assert ledger.beat(claim) is Control.RUN
        assert counts(ledger) == Counts(working=1)
        assert ledger.done(claim, {"digest": "abc"}) is Finish.RECORDED
        assert counts(ledger) == Counts(done=1)

    def test_a_result_after_a_lapsed_lease_takes_the_item_off_the_queue(
        self, ledger: Ledger, sleep: Callable[[float], None]
    ) -> None:
        to_combine(ledger, 1)
        claim = take(ledger)
        sleep(LEASE_S * 1.5)
        ledger.sweep(RUN)

        assert ledger.done(claim, {"digest": "abc"}) is Finish.RECORDED
        assert ledger.claim("m/2", RUN) is None
        assert counts(ledger) == Counts(done=1)

    def test_beats_keep_an_item_longer_than_its_lease(
        self, ledger: Ledger, sleep: Callable[[float], None]
    ) -> None:
        to_combine(ledger, 1)
        claim = take(ledger)

        for _ in range(4):
            sleep(LEASE_S * 0.5)
            assert ledger.beat(claim) is Control.RUN

        assert ledger.claim("m/2", RUN) is None

    def test_beat_of_a_retaken_item_is_refused(
        self, ledger: Ledger, sleep: Callable[[float], None]
    ) -> None:
        to_combine(ledger, 1)
        old = take(ledger, "m/1")
        sleep(LEASE_S * 1.5)
        new = take(ledger, "m/2")

        assert new.token > old.token
        assert new.tries == 1
        with pytest.raises(LeaseLost):
            ledger.beat(old)
        assert ledger.beat(new) is Control.RUN

    def test_an_item_that_loses_its_process_thrice_is_set_aside(
        self, ledger: Ledger, sleep: Callable[[float], None]
    ) -> None:
        to_combine(ledger, 1)

        for attempt in range(3):
            assert take(ledger, f"m/{attempt}").tries == attempt
            sleep(LEASE_S * 1.5)

        assert ledger.claim("m/9", RUN) is None
        [item] = ledger.items(RUN, Stage.COMBINE)
        assert item.state is ItemState.SET_ASIDE
        assert item.tries == 3
        assert item.failure is not None
        assert (item.failure.cause, item.failure.worker) == (Cause.PROCESS_LOST, "m/2")

    def test_errors_come_back_after_a_wait_that_doubles_then_are_set_aside(
        self, ledger: Ledger, sleep: Callable[[float], None]
    ) -> None:
        to_combine(ledger, 1)

        assert ledger.fail(take(ledger), ERROR) is ItemState.WAITING
        assert ledger.claim("m/1", RUN) is None
        sleep(BACK_OFF_S * 1.2)
        assert ledger.fail(take(ledger), ERROR) is ItemState.WAITING
        sleep(BACK_OFF_S * 1.2)
        assert ledger.claim("m/1", RUN) is None
        sleep(BACK_OFF_S)
        assert ledger.fail(take(ledger), ERROR) is ItemState.SET_ASIDE

        [item] = ledger.items(RUN, Stage.COMBINE)
        assert item.failure is not None
        assert item.failure.message == "frame 1002 has no light"
        assert counts(ledger) == Counts(set_aside=1)

    def test_a_repeated_fail_counts_once(self, ledger: Ledger) -> None:
        to_combine(ledger, 1)
        claim = take(ledger)

        answers = [ledger.fail(claim, ERROR) for _ in range(5)]

        assert answers == [ItemState.WAITING] * 5

    def test_causes_are_counted_apart(self, ledger: Ledger, sleep: Callable[[float], None]) -> None:
        to_combine(ledger, 1)
        for _ in range(2):
            take(ledger)
            sleep(LEASE_S * 1.5)

        assert ledger.fail(take(ledger), ERROR) is ItemState.WAITING

    def test_a_bad_source_is_set_aside_at_once(self, ledger: Ledger) -> None:
        to_combine(ledger, 1)

        assert ledger.fail(take(ledger), DEAD) is ItemState.SET_ASIDE

    def test_giving_back_counts_no_try(self, ledger: Ledger) -> None:
        to_combine(ledger, 1)
        claim = take(ledger)
        ledger.give_back(claim)
        for _ in range(5):
            again = take(ledger)
            assert again.tries == 0
            ledger.give_back(again)
            ledger.give_back(again)

        assert counts(ledger) == Counts(waiting=1)
        assert ledger.done(claim, {}) is Finish.REFUSED
