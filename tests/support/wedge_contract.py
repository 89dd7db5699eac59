"""What every ledger promises of wedges: one slot at a time, before anything else."""

from collections.abc import Callable

from glimsum_jobs.ledger import Control, Counts, Ledger, RunState, Stage
from support.ledger_contract import DEAD, LEASE_S, to_combine

FIRST, SECOND = "a/w001", "b/w002"


def ask_for(ledger: Ledger, *runs: str) -> None:
    for run in runs:
        ledger.open(run, priority=100, stage=Stage.WEDGE)


class WedgeContract:
    """Needs the fixtures `ledger` (LEASE_S) and `sleep`."""

    def test_a_wedge_opens_at_its_own_stage_with_one_item(self, ledger: Ledger) -> None:
        ask_for(ledger, FIRST)

        record = ledger.record(FIRST)
        assert record is not None
        assert (record.stage, record.state) == (Stage.WEDGE, RunState.COMBINING)
        assert record.counts == {Stage.WEDGE: Counts(waiting=1)}
        assert [each.item for each in ledger.items(FIRST, Stage.WEDGE)] == ["shot"]
        assert ledger.items(FIRST, Stage.CHECK) == []

    def test_one_wedge_at_a_time_is_in_a_slot_s_hands(self, ledger: Ledger) -> None:
        to_combine(ledger, 2)
        ask_for(ledger, FIRST, SECOND)
        assert list(ledger.wedges_wanted()) == [FIRST, SECOND]

        claim = ledger.claim("m/1", FIRST, [Stage.WEDGE])

        assert claim is not None
        assert list(ledger.wedges_wanted()) == []
        assert ledger.claim("m/2", SECOND) is None
        assert ledger.claim("m/2", "mole_040/v001") is not None  # frames go on
        ledger.done(claim, {"digest": "d"})
        assert ledger.advance(FIRST, Stage.WEDGE, None, [], end=RunState.DONE)
        assert list(ledger.wedges_wanted()) == [SECOND]
        assert ledger.claim("m/1", SECOND) is not None

    def test_a_wedge_that_comes_back_makes_room_for_another(
        self, ledger: Ledger, sleep: Callable[[float], None]
    ) -> None:
        ask_for(ledger, FIRST, SECOND)
        for end in ("given back", "released", "lost", "failed"):
            claim = ledger.claim("m/1", FIRST)
            assert claim is not None, end
            if end == "given back":
                ledger.give_back(claim)
            elif end == "released":
                ledger.release_worker("m")
            elif end == "lost":
                sleep(LEASE_S + 0.1)
                ledger.sweep(FIRST)
            else:
                ledger.fail(claim, DEAD)
            other = ledger.claim("m/2", SECOND)
            assert other is not None, end
            ledger.give_back(other)

    def test_a_wedge_that_is_not_wanted_keeps_no_slot_asking(self, ledger: Ledger) -> None:
        ask_for(ledger, FIRST, SECOND)

        ledger.control(FIRST, Control.PAUSE)
        assert list(ledger.wedges_wanted()) == [SECOND]
        ledger.hold(SECOND, "it waits for a disk")
        assert list(ledger.wedges_wanted()) == []
        ledger.hold(SECOND, "")
        ledger.control(FIRST, Control.RUN)
        assert list(ledger.wedges_wanted()) == [FIRST, SECOND]

    def test_a_cancelled_wedge_ends_and_makes_room(self, ledger: Ledger) -> None:
        ask_for(ledger, FIRST, SECOND)
        claim = ledger.claim("m/1", FIRST)
        assert claim is not None

        ledger.control(FIRST, Control.CANCEL)
        assert ledger.beat(claim) is Control.CANCEL
        ledger.give_back(claim)

        record = ledger.record(FIRST)
        assert record is not None
        assert record.state is RunState.CANCELLED
        assert list(ledger.wedges_wanted()) == [SECOND]
