"""Both ledgers keep the same promises; the one on a server keeps some more."""

import random
import threading
import time
from collections.abc import Callable
from typing import Any

import pytest
import redis

from glimsum_jobs.errors import StoreError
from glimsum_jobs.ledger import Claim, Finish, Stage
from glimsum_services.store.connection import connect
from glimsum_services.store.keys import Keys
from glimsum_services.store.ledger import RedisLedger
from support.holding_contract import HoldingContract
from support.ledger_contract import (
    BACK_OFF_S,
    DEAD,
    LEASE_S,
    RUN,
    LedgerContract,
    counts,
    take,
    to_combine,
)
from support.memory_ledger import MemoryLedger
from support.neighbour_contract import NeighbourContract
from support.run_contract import RunContract
from support.wedge_contract import WedgeContract


class TestMemoryLedger(
    LedgerContract, HoldingContract, NeighbourContract, RunContract, WedgeContract
):
    @pytest.fixture
    def now(self) -> list[float]:
        return [1_800_000_000.0]

    @pytest.fixture
    def ledger(self, now: list[float]) -> MemoryLedger:
        return MemoryLedger(lambda: now[0], lease_s=LEASE_S, back_off_s=BACK_OFF_S)

    @pytest.fixture
    def sleep(self, now: list[float]) -> Callable[[float], None]:
        def skip(seconds: float) -> None:
            now[0] += seconds

        return skip


class TestRedisLedger(
    LedgerContract, HoldingContract, NeighbourContract, RunContract, WedgeContract
):
    @pytest.fixture
    def ledger(self, server: redis.Redis) -> RedisLedger:
        return RedisLedger(server, lease_s=LEASE_S, back_off_s=BACK_OFF_S)

    @pytest.fixture
    def sleep(self) -> Callable[[float], None]:
        return time.sleep

    def test_a_claim_whose_answer_was_lost_is_answered_again(self, ledger: RedisLedger) -> None:
        to_combine(ledger, 3)
        asked = {"worker": "m/1", "stages": ["combine"], "request": "0123abcd"}

        first = ledger._ask("claim", RUN, **asked)
        again = ledger._ask("claim", RUN, **asked)
        other = ledger._ask("claim", RUN, **(asked | {"request": "4567cdef"}))

        assert first == again == ["combine", "1001", 2, 0]
        assert other == ["combine", "1002", 3, 0]
        assert counts(ledger).working == 2

    def test_eight_workers_at_once_share_the_items_and_none_is_taken_twice(
        self, ledger: RedisLedger
    ) -> None:
        items = to_combine(ledger, 200)
        taken: list[str] = []

        def work(name: str) -> None:
            while claim := ledger.claim(name, RUN):
                taken.append(claim.item)
                ledger.done(claim, {"digest": claim.item})

        threads = [threading.Thread(target=work, args=(f"m/{n}",)) for n in range(8)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()

        assert sorted(taken) == items
        assert counts(ledger).done == 200

    @pytest.mark.parametrize("seed", range(3))
    def test_both_ledgers_hand_out_the_same_items(self, ledger: RedisLedger, seed: int) -> None:
        other = MemoryLedger(time.time)
        pairs: dict[str, tuple[Claim, Claim]] = {}
        to_combine(ledger, 80)
        to_combine(other, 80)
        dice = random.Random(seed)  # noqa: S311  # made events, no secret
        for _ in range(400):
            worker = f"m/{dice.randrange(5)}"
            mine, its = pairs.pop(worker, (None, None))
            if mine and its and dice.random() < 0.15:
                ledger.give_back(mine)
                other.give_back(its)
            elif mine and its:
                ledger.done(mine, {})
                other.done(its, {})
            mine, its = ledger.claim(worker, RUN), other.claim(worker, RUN)

            assert (mine and mine.item) == (its and its.item)
            if mine and its:
                pairs[worker] = (mine, its)

        assert counts(ledger).done > 40

    def test_traceback_is_kept_to_16_kib_its_end(self, ledger: RedisLedger) -> None:
        to_combine(ledger, 1)

        ledger.fail(take(ledger), DEAD.model_copy(update={"traceback": "x" * 50_000 + "the end"}))

        [item] = ledger.items(RUN, Stage.COMBINE)
        assert item.failure is not None
        assert len(item.failure.traceback) == 16 * 1024
        assert item.failure.traceback.endswith("the end")

    def test_numbers_and_empty_lists_of_a_result_come_back_as_they_were(
        self, ledger: RedisLedger
    ) -> None:
        to_combine(ledger, 1)
        result: dict[str, Any] = {
            "digest": "a",
            "remarks": [],
            "none": None,
            "sigma_px": 0.1234567890123456,
        }

        assert ledger.done(take(ledger), result) is Finish.RECORDED
        assert ledger.result(RUN, Stage.COMBINE, "1001") == result

    def test_every_key_stands_under_the_prefix(
        self, ledger: RedisLedger, server: redis.Redis
    ) -> None:
        to_combine(ledger, 3)
        ledger.fail(take(ledger), DEAD)
        ledger.pulse()

        keys = [str(key) for key in server.keys("*")]
        assert len(keys) > 8
        assert [key for key in keys if not key.startswith(Keys().prefix)] == []

    def test_ten_thousand_frames_are_opened_within_a_second(self, ledger: RedisLedger) -> None:
        begun = time.monotonic()
        to_combine(ledger, 10_000)

        assert time.monotonic() - begun < 1.0
        items = [item.item for item in ledger.items(RUN, Stage.COMBINE)]
        assert items == [str(1001 + frame) for frame in range(10_000)]

    def test_an_absent_server_is_said_in_words_after_the_patience(self) -> None:
        ledger = RedisLedger(connect("redis://127.0.0.1:1/0"), patience_s=0.3)
        begun = time.monotonic()

        with pytest.raises(StoreError, match=r"unknown \(file 127.0.0.1:1\).*within 0.3 s"):
            ledger.open(RUN)

        assert 0.1 < time.monotonic() - begun < 2

    def test_a_full_server_is_said_in_words_and_changes_nothing(
        self, ledger: RedisLedger, server: redis.Redis
    ) -> None:
        server.config_set("maxmemory", "1")
        try:
            with pytest.raises(
                StoreError, match=r"refuses a call.*used memory > 'maxmemory'.*Free disk"
            ):
                ledger.open(RUN)
        finally:
            server.config_set("maxmemory", "0")

        assert ledger.record(RUN) is None
        assert ledger.open_runs() == []
