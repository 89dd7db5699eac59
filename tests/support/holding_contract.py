"""What every ledger promises of those who hold items: who holds what, and giving it back."""

from collections.abc import Callable

from glimsum_jobs.ledger import Control, Counts, Holding, Ledger, RunState, Stage
from support.ledger_contract import DEAD, LEASE_S, RUN, counts, take, to_combine


def held(item: str, control: Control = Control.RUN) -> Holding:
    return Holding(run=RUN, stage=Stage.COMBINE, item=item, control=control)


class HoldingContract:
    """Needs the fixtures `ledger` (LEASE_S, BACK_OFF_S) and `sleep`."""

    def test_release_takes_a_worker_and_its_slots_and_no_namesake(self, ledger: Ledger) -> None:
        to_combine(ledger, 3)
        taken = {each: take(ledger, each).item for each in ("ab/12", "ab/123", "abc/12")}

        assert list(ledger.holders("ab")) == ["ab/12", "ab/123"]
        assert ledger.release_worker("ab/12", why="it hung") == 1
        assert list(ledger.holders("ab")) == ["ab/123"]
        assert ledger.release_worker("ab") == 1
        assert ledger.holders("abc") == {"abc/12": held(taken["abc/12"])}
        assert [i.failure.message for i in ledger.items(RUN, Stage.COMBINE) if i.failure] == [
            "it hung",
            "the process died with this item in its hands",
        ]
        assert take(ledger).tries == 1

    def test_orderly_release_counts_no_try(self, ledger: Ledger) -> None:
        to_combine(ledger, 1)
        for _ in range(4):
            take(ledger, "ab/1")
            assert ledger.release_worker("ab", counted=False) == 1

        assert counts(ledger) == Counts(waiting=1)

    def test_tokens_are_those_that_may_still_finish(
        self, ledger: Ledger, sleep: Callable[[float], None]
    ) -> None:
        to_combine(ledger, 4)
        first, second, third = take(ledger), take(ledger), take(ledger)
        assert set(ledger.tokens(RUN)) == {first.token, second.token, third.token}

        ledger.done(first, {})
        ledger.fail(second, DEAD)
        sleep(LEASE_S * 1.5)
        ledger.sweep(RUN)

        assert set(ledger.tokens(RUN)) == {third.token}  # lapsed, but nobody else took it
        ledger.end(RUN, RunState.REFUSED)
        assert set(ledger.tokens(RUN)) == set()
