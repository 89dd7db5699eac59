import threading
import time

import pytest
import redis

from glimsum_services.store.connection import adopt
from glimsum_services.store.events import EventGap, Events
from glimsum_services.store.keys import Keys
from glimsum_services.store.ledger import RedisLedger
from support.ledger_contract import RUN, take, to_combine


@pytest.fixture
def events(server: redis.Redis) -> Events:
    return Events(server, adopt(server, Keys()))


def test_every_change_is_one_event_with_the_runs_revision(
    server: redis.Redis, events: Events
) -> None:
    ledger = RedisLedger(server)
    start = events.newest()

    to_combine(ledger, 1)
    ledger.done(take(ledger), {})

    found = events.read(start)
    assert [(each.kind, each.stage, each.item) for each in found] == [
        ("opened", "check", ""),
        ("taken", "check", "shot"),
        ("done", "check", "shot"),
        ("stage", "combine", ""),
        ("taken", "combine", "1001"),
        ("done", "combine", "1001"),
    ]
    assert [each.revision for each in found] == [1, 2, 3, 4, 5, 6]
    record = ledger.record(RUN)
    assert record is not None
    assert record.revision == 6


def test_reading_goes_on_after_the_last_event_seen(server: redis.Redis, events: Events) -> None:
    ledger = RedisLedger(server)
    start = events.newest()
    to_combine(ledger, 3)

    first = events.read(start, most=2)
    rest = events.read(first[-1].id)

    assert [each.kind for each in first + rest] == ["opened", "taken", "done", "stage"]
    assert events.read(rest[-1].id) == []


def test_a_waiting_reader_hears_what_happens_later(server: redis.Redis, events: Events) -> None:
    start = events.newest()
    later = threading.Timer(0.3, lambda: RedisLedger(server).open(RUN))
    later.start()
    begun = time.monotonic()

    found = events.read(start, wait_s=3)

    later.join()
    assert [each.kind for each in found] == ["opened"]
    assert 0.2 < time.monotonic() - begun < 2.5


@pytest.mark.parametrize("place", ["otherone-5-0", "nothing", "", "x-y-z"])
def test_an_id_of_another_ledger_is_a_gap(events: Events, place: str) -> None:
    with pytest.raises(EventGap):
        events.read(place)


def test_events_that_were_dropped_are_a_gap(server: redis.Redis, events: Events) -> None:
    start = events.newest()
    to_combine(RedisLedger(server), 3)
    server.xtrim(Keys().events, maxlen=1, approximate=False)

    with pytest.raises(EventGap):
        events.read(start)
