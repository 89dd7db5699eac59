"""What every ledger promises of whole runs: stages, ends, wishes, hours, sleep, retry."""

from collections.abc import Callable

import pytest

from glimsum_jobs.ledger import (
    SINGLE_ITEM,
    Control,
    Counts,
    Failure,
    Finish,
    Hours,
    Ledger,
    RunState,
    Stage,
)
from support.ledger_contract import (
    BACK_OFF_S,
    DEAD,
    ERROR,
    LEASE_S,
    RUN,
    counts,
    state,
    take,
    to_combine,
)


class RunContract:
    """Needs the fixtures `ledger` (LEASE_S, BACK_OFF_S) and `sleep`."""

    def test_a_stage_is_left_once_and_only_at_its_end(self, ledger: Ledger) -> None:
        ledger.open(RUN)
        assert not ledger.advance(RUN, Stage.CHECK, Stage.COMBINE, ["1001"])
        claim = take(ledger)
        assert not ledger.advance(RUN, Stage.CHECK, Stage.COMBINE, ["1001"])
        ledger.done(claim, {})

        assert ledger.advance(RUN, Stage.CHECK, Stage.COMBINE, ["1001"])
        assert not ledger.advance(RUN, Stage.CHECK, Stage.COMBINE, ["1001", "1002"])
        assert counts(ledger) == Counts(waiting=1)

    def test_dead_frames_are_never_handed_out(self, ledger: Ledger) -> None:
        ledger.open(RUN)
        ledger.done(take(ledger), {})

        ledger.advance(
            RUN, Stage.CHECK, Stage.COMBINE, ["1001", "1002", "1003"], aside=[("1002", DEAD)]
        )

        assert [take(ledger).item for _ in range(2)] == ["1001", "1003"]
        assert ledger.claim("m/1", RUN) is None
        assert counts(ledger) == Counts(working=2, set_aside=1)

    @pytest.mark.parametrize(
        ("failure", "expected"), [(None, RunState.DONE), (DEAD, RunState.DONE_WITH_REMARKS)]
    )
    def test_the_end_says_whether_there_are_remarks(
        self, ledger: Ledger, failure: Failure | None, expected: RunState
    ) -> None:
        to_combine(ledger, 1)
        claim = take(ledger)
        if failure:
            ledger.fail(claim, failure)
        else:
            ledger.done(claim, {})

        assert ledger.advance(RUN, Stage.COMBINE, None, [])

        assert state(ledger) is expected
        assert ledger.open_runs() == []

    def test_pause_stops_handing_out_and_is_heard_at_the_beat(self, ledger: Ledger) -> None:
        to_combine(ledger, 2)
        claim = take(ledger)

        assert ledger.control(RUN, Control.PAUSE)

        assert state(ledger) is RunState.PAUSED
        assert ledger.claim("m/2", RUN) is None
        assert ledger.beat(claim) is Control.PAUSE
        assert ledger.done(claim, {}) is Finish.RECORDED
        ledger.control(RUN, Control.RUN)
        assert take(ledger).item == "1002"

    def test_cancel_ends_the_run_when_the_last_item_is_let_go(self, ledger: Ledger) -> None:
        to_combine(ledger, 2)
        claim = take(ledger)

        ledger.control(RUN, Control.CANCEL)

        assert state(ledger) is RunState.CANCELLED
        assert ledger.open_runs() == [RUN]
        assert ledger.beat(claim) is Control.CANCEL
        ledger.give_back(claim)
        assert ledger.open_runs() == []
        assert not ledger.control(RUN, Control.RUN)
        assert state(ledger) is RunState.CANCELLED

    def test_cancel_ends_the_run_when_its_holder_died(
        self, ledger: Ledger, sleep: Callable[[float], None]
    ) -> None:
        to_combine(ledger, 2)
        take(ledger)
        ledger.control(RUN, Control.CANCEL)
        sleep(LEASE_S * 1.5)

        ledger.sweep(RUN)

        assert ledger.open_runs() == []

    def test_the_first_end_stands(self, ledger: Ledger) -> None:
        to_combine(ledger, 1)
        claim = take(ledger)

        ledger.end(RUN, RunState.REFUSED, "no source of pass haze can be read")
        ledger.end(RUN, RunState.DONE)

        record = ledger.record(RUN)
        assert record is not None
        assert record.state is RunState.REFUSED
        assert record.reason == "no source of pass haze can be read"
        assert ledger.done(claim, {"digest": "abc"}) is Finish.REFUSED

    def test_the_most_urgent_run_comes_first(self, ledger: Ledger) -> None:
        for run, priority in (("a/v001", 50), ("b/v001", 90), ("c/v001", 50)):
            ledger.open(run, priority=priority)

        assert ledger.open_runs() == ["b/v001", "a/v001", "c/v001"]
        ledger.control("c/v001", Control.RUN, priority=100)
        assert ledger.open_runs() == ["c/v001", "b/v001", "a/v001"]

    def test_hours_hold_work_back(self, ledger: Ledger) -> None:
        to_combine(ledger, 1)
        record = ledger.record(RUN)
        assert record is not None
        minute = int(record.begun // 60) % 1440

        def window(first: int, last: int) -> Hours:
            return Hours(window=((minute + first) % 1440, (minute + last) % 1440))

        refusing = [window(60, 120), window(-120, -60), window(10, -10)]
        for hours in (*refusing, Hours(not_before=record.begun + 3600)):
            ledger.control(RUN, Control.RUN, hours=hours)
            assert ledger.claim("m/1", RUN) is None
        # -60..60, and a window nearly round the clock, which passes midnight at any time of day
        for hours in (window(-60, 60), window(-10, -20)):
            ledger.control(RUN, Control.RUN, hours=hours)
            claim = ledger.claim("m/1", RUN)
            assert claim is not None
            ledger.give_back(claim)

    def test_a_wish_left_out_stays_as_it_is(self, ledger: Ledger) -> None:
        to_combine(ledger, 1)
        ledger.control(RUN, Control.PAUSE, 70)
        ledger.control(RUN, hours=Hours(window=(60, 119), wall="02:00-03:00"))
        ledger.control(RUN, priority=80)

        record = ledger.record(RUN)

        assert record is not None
        assert (record.control, record.priority) == (Control.PAUSE, 80)
        assert (record.hours.window, record.hours.wall) == ((60, 119), "02:00-03:00")

    def test_what_lacks_everywhere_holds_a_run_until_it_is_there(self, ledger: Ledger) -> None:
        to_combine(ledger, 2)
        claim = take(ledger)

        ledger.hold(RUN, "room on out: 1 GB free, 2 GB kept")

        record = ledger.record(RUN)
        assert record is not None
        assert record.waits_for == "room on out: 1 GB free, 2 GB kept"
        assert (record.state, record.control) == (RunState.PAUSED, Control.RUN)
        assert ledger.claim("m/2", RUN) is None
        assert ledger.done(claim, {}) is Finish.RECORDED
        ledger.hold(RUN, "")
        assert state(ledger) is RunState.COMBINING
        assert take(ledger).item == "1002"

    def test_after_a_sleep_no_item_waits_for_its_error_any_longer(
        self, ledger: Ledger, sleep: Callable[[float], None]
    ) -> None:
        to_combine(ledger, 1)
        ledger.pulse()
        for _ in range(2):
            ledger.fail(take(ledger), ERROR)
            if ledger.claim("m/1", RUN) is None:
                sleep(BACK_OFF_S * 1.2)
                ledger.pulse()
        sleep(LEASE_S * 2)

        assert ledger.pulse()

        assert take(ledger).tries == 2

    def test_after_a_sleep_all_leases_start_anew_once_and_no_try_is_counted(
        self, ledger: Ledger, sleep: Callable[[float], None]
    ) -> None:
        to_combine(ledger, 1)
        assert not ledger.pulse()
        claim = take(ledger)
        sleep(LEASE_S * 2)

        assert ledger.claim("m/2", RUN) is None
        assert ledger.pulse()
        assert not ledger.pulse()
        assert ledger.claim("m/2", RUN) is None
        assert ledger.beat(claim) is Control.RUN

    def test_watched_leases_still_end(self, ledger: Ledger, sleep: Callable[[float], None]) -> None:
        to_combine(ledger, 1)
        ledger.pulse()
        take(ledger)
        watched = 0
        while watched < 5:
            sleep(LEASE_S * 0.3)
            # A machine that was held up between two pulses has started the lease anew.
            watched = 0 if ledger.pulse() else watched + 1

        assert take(ledger, "m/2").tries == 1

    def test_retry_goes_back_and_forgets_what_came_after(self, ledger: Ledger) -> None:
        to_combine(ledger, 2)
        ledger.fail(take(ledger), DEAD)
        ledger.done(take(ledger), {"digest": "b"})
        ledger.advance(RUN, Stage.COMBINE, Stage.FINISH, [SINGLE_ITEM])
        ledger.done(take(ledger), {"movie": "m.mov"})
        ledger.advance(RUN, Stage.FINISH, None, [])
        assert state(ledger) is RunState.DONE_WITH_REMARKS

        assert ledger.retry(RUN, Stage.COMBINE) == 1
        assert ledger.retry(RUN, Stage.COMBINE) == 0

        assert state(ledger) is RunState.COMBINING
        assert counts(ledger) == Counts(waiting=1, done=1)
        assert ledger.items(RUN, Stage.FINISH) == []
        claim = take(ledger)
        assert (claim.item, claim.tries) == ("1001", 0)
        ledger.done(claim, {"digest": "a"})
        ledger.advance(RUN, Stage.COMBINE, Stage.FINISH, [SINGLE_ITEM])
        ledger.done(take(ledger), {"movie": "m.mov"})
        ledger.advance(RUN, Stage.FINISH, None, [])
        assert state(ledger) is RunState.DONE

    def test_retry_leaves_a_cancelled_run(self, ledger: Ledger) -> None:
        to_combine(ledger, 2)
        ledger.fail(take(ledger), DEAD)
        ledger.control(RUN, Control.CANCEL)

        assert ledger.retry(RUN, Stage.COMBINE) == 0
        assert state(ledger) is RunState.CANCELLED
