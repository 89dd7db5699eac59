"""Both ledgers keep the same promises."""

import time
from collections.abc import Callable, Iterator

import pytest
import redis
from support.ledger_contract import BACK_OFF_S, LEASE_S, RUN, LedgerContract, take, to_combine
from support.memory_ledger import MemoryLedger
from support.server import running_server

from glimsum_jobs.ledger import Ledger, Stage
from glimsum_services.store.ledger import RedisLedger


@pytest.fixture(scope="module")
def server() -> Iterator[redis.Redis]:
    with running_server() as (client, _):
        yield client


class TestMemoryLedger(LedgerContract):
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


class TestRedisLedger(LedgerContract):
    @pytest.fixture
    def ledger(self, server: redis.Redis) -> RedisLedger:
        server.flushall()
        return RedisLedger(server, lease_s=LEASE_S, back_off_s=BACK_OFF_S)

    @pytest.fixture
    def sleep(self) -> Callable[[float], None]:
        return time.sleep
