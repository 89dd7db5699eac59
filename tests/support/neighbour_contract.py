"""What every ledger promises of the order in which items are taken: neighbours stay together."""

import random
from collections.abc import Callable

import pytest

from glimsum_jobs.ledger import Cause, Claim, Counts, Failure, Ledger, RunState, Stage
from support.ledger_contract import BACK_OFF_S, DEAD, ERROR, RUN, counts, take, to_combine

Turns = list[tuple[str, str]]
"""Worker and item, in the order of the claims."""


def finish(ledger: Ledger, claim: Claim) -> None:
    ledger.done(claim, {"digest": claim.item})


def work_in_turn(ledger: Ledger, turns: list[str]) -> Turns:
    """Let workers finish what they hold and claim again, in this order, until nothing waits."""
    held: dict[str, Claim] = {}
    taken: Turns = []
    for worker in turns:
        if worker in held:
            finish(ledger, held.pop(worker))
        claim = ledger.claim(worker, RUN)
        if claim is not None:
            held[worker] = claim
            taken.append((worker, claim.item))
    for claim in held.values():
        finish(ledger, claim)
    return taken


def stretches(taken: Turns, worker: str) -> list[range]:
    """Return the runs of neighbours that a worker took one after the other."""
    found: list[range] = []
    for who, item in taken:
        number = int(item)
        if who == worker and found and found[-1].stop == number:
            found[-1] = range(found[-1].start, number + 1)
        elif who == worker:
            found.append(range(number, number + 1))
    return found


class NeighbourContract:
    """Needs the fixtures `ledger` (LEASE_S, BACK_OFF_S) and `sleep`."""

    def test_one_worker_alone_takes_all_in_order(self, ledger: Ledger) -> None:
        items = to_combine(ledger, 12)

        taken = work_in_turn(ledger, ["m/1"] * 13)

        assert [item for _, item in taken] == items
        assert ledger.claim("m/1", RUN) is None

    def test_two_workers_share_the_shot_in_two_stretches(self, ledger: Ledger) -> None:
        to_combine(ledger, 40)

        taken = work_in_turn(ledger, ["m/1", "m/2"] * 20)

        assert stretches(taken, "m/1") == [range(1001, 1021)]
        assert stretches(taken, "m/2") == [range(1021, 1041)]

    def test_each_begins_in_the_middle_of_what_most_waits(self, ledger: Ledger) -> None:
        to_combine(ledger, 16)

        begun = [take(ledger, f"m/{n}").item for n in range(5)]

        # 1001 held: 15 wait, their middle is 1009. Then 7 on each side: the first, 1005.
        assert begun == ["1001", "1009", "1005", "1013", "1003"]

    def test_who_is_done_takes_half_of_what_another_has_before_him(self, ledger: Ledger) -> None:
        to_combine(ledger, 24)
        slow = take(ledger, "m/slow")

        taken = work_in_turn(ledger, ["m/quick"] * 24)

        # 1001 is held all the time; of 23 waiting the half, of what is left the half, to the end.
        found = [(each.start, len(each)) for each in stretches(taken, "m/quick")]
        assert found == [(1013, 12), (1007, 6), (1004, 3), (1003, 1), (1002, 1)]
        finish(ledger, slow)
        assert counts(ledger) == Counts(done=24)

    def test_workers_of_any_speed_are_busy_to_the_end_and_go_on_in_stretches(
        self, ledger: Ledger
    ) -> None:
        to_combine(ledger, 150)
        pace = random.Random(7)  # noqa: S311  # a made order, no secret
        turns = pace.choices(["m/slow", "m/quick", "m/quicker"], weights=[1, 3, 5], k=160)

        taken = work_in_turn(ledger, turns)

        assert len({item for _, item in taken}) == len(taken) == 150
        begun = sum(len(stretches(taken, worker)) for worker in set(turns))
        assert begun <= 15, taken  # each tenth item: 150 in strict order

    def test_an_item_that_came_back_is_taken_before_any_neighbour(
        self, ledger: Ledger, sleep: Callable[[float], None]
    ) -> None:
        to_combine(ledger, 20)
        ledger.fail(take(ledger, "m/1"), ERROR)
        finish(ledger, take(ledger, "m/1"))
        sleep(BACK_OFF_S * 1.5)

        back = take(ledger, "m/1")

        assert (back.item, back.tries) == ("1001", 1)
        finish(ledger, back)
        assert take(ledger, "m/1").item == "1003"

    def test_a_lost_workers_item_comes_first_and_its_stretch_is_gone_on_with(
        self, ledger: Ledger
    ) -> None:
        to_combine(ledger, 12)
        take(ledger, "a/1")
        lost = take(ledger, "b/1")
        assert ledger.release_worker("b") == 1

        first, following = take(ledger, "c/1"), take(ledger, "c/1")

        assert (first.item, following.item) == (lost.item, str(int(lost.item) + 1))
        assert first.tries == 1

    def test_what_nobody_is_on_the_way_to_is_taken_from_its_beginning(self, ledger: Ledger) -> None:
        to_combine(ledger, 16)
        given = take(ledger, "m/1")
        take(ledger, "m/2")
        ledger.give_back(given)

        assert take(ledger, "m/3").item == "1001"

    def test_an_item_given_back_is_its_givers_next(self, ledger: Ledger) -> None:
        to_combine(ledger, 8)
        finish(ledger, take(ledger, "m/1"))
        ledger.give_back(take(ledger, "m/1"))

        assert take(ledger, "m/1").item == "1002"

    def test_frames_set_aside_end_no_stretch(self, ledger: Ledger) -> None:
        ledger.open(RUN)
        finish(ledger, take(ledger))
        frames = [str(1001 + frame) for frame in range(12)]
        dead = [(frame, DEAD) for frame in ("1008", "1009")]
        assert ledger.advance(RUN, Stage.CHECK, Stage.COMBINE, frames, aside=dead)
        finish(ledger, take(ledger, "m/1"))
        assert take(ledger, "m/1").item == "1002"
        assert take(ledger, "m/2").item == "1007"

        assert take(ledger, "m/2").item == "1010"

    def test_neighbours_of_a_pass_stay_together_in_measuring_too(self, ledger: Ledger) -> None:
        ledger.open(RUN)
        finish(ledger, take(ledger))
        items = [f"track:{name}:{frame}" for name in ("key", "haze") for frame in range(6)]
        assert ledger.advance(RUN, Stage.CHECK, Stage.MEASURE, items)

        taken = work_in_turn(ledger, ["m/1", "m/2"] * 6)

        assert [item for who, item in taken if who == "m/1"] == items[:6]
        assert [item for who, item in taken if who == "m/2"] == items[6:]

    @pytest.mark.parametrize("seed", range(4))
    def test_no_item_is_left_whatever_happens_on_the_way(self, ledger: Ledger, seed: int) -> None:
        to_combine(ledger, 60)
        dice = random.Random(seed)  # noqa: S311  # made events, no secret
        bad = Failure(cause=Cause.BAD_SOURCE, kind="SourceError", message="cut off")
        held: dict[str, Claim] = {}
        aside, idle = 0, 0
        while idle < 3:
            worker = f"m{dice.randrange(3)}/{dice.randrange(2)}"
            claim = held.pop(worker, None)
            if claim is None:
                claim = ledger.claim(worker, RUN)
                if claim is not None:
                    held[worker] = claim
                idle = idle + 1 if claim is None and not held else 0
            elif (event := dice.random()) < 0.1:
                ledger.give_back(claim)
            elif event < 0.15:
                ledger.release_worker(worker, counted=False)
            elif event < 0.2:
                ledger.fail(claim, bad)
                aside += 1
            else:
                finish(ledger, claim)

        assert counts(ledger) == Counts(done=60 - aside, set_aside=aside)
        assert ledger.advance(RUN, Stage.COMBINE, None, [])
        record = ledger.record(RUN)
        assert record is not None
        assert record.state is (RunState.DONE_WITH_REMARKS if aside else RunState.DONE)
