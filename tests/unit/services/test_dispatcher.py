"""Ticks against the ledger in memory: barriers, tickets, leases."""

from collections.abc import Callable, Iterator, Mapping

import pytest
import redis
from kombu.exceptions import OperationalError

from glimsum_jobs.errors import StoreError
from glimsum_jobs.ledger import SINGLE_ITEM, Control, Hours, ItemRecord, ItemState, RunState, Stage
from glimsum_jobs.plan import NextStage
from glimsum_jobs.tickets import HEAVY, LIGHT
from glimsum_services.dispatcher import Dispatcher
from glimsum_services.store.machines import Machine, Machines
from support.ledger_contract import DEAD, take, to_combine
from support.memory_ledger import MemoryLedger
from support.server import running_server

RUN = "mole_040/v001"


class SentTickets:
    def __init__(self) -> None:
        self.sent: list[tuple[str, str]] = []
        self.waiting = {HEAVY: 0, LIGHT: 0}

    def send(self, run: str, queue: str) -> None:
        self.sent.append((run, queue))

    def queued(self) -> Mapping[str, int]:
        return self.waiting


class Named:
    def order(self, run: str) -> str:
        if run.startswith("lost"):
            raise StoreError(f"no order is kept for {run}")
        return run


def plan(order: str, stage: Stage, items: Callable[[Stage], list[ItemRecord]]) -> NextStage:
    if order.startswith("odd"):
        raise KeyError("haze")
    if stage is Stage.CHECK:
        frames = tuple(str(frame) for frame in range(1001, 1007))
        return NextStage(stage=Stage.COMBINE, items=frames, set_aside=(("1003", DEAD),))
    if stage is Stage.COMBINE:
        return NextStage(stage=Stage.FINISH, items=(SINGLE_ITEM,))
    whole = all(item.state is ItemState.DONE for item in items(Stage.COMBINE))
    return NextStage(stage=None, end=RunState.DONE if whole else RunState.DONE_WITH_REMARKS)


@pytest.fixture(scope="module")
def machines() -> Iterator[Machines]:
    with running_server() as (client, _):
        yield Machines(client)


@pytest.fixture
def now() -> list[float]:
    return [1_800_000_000.0]


@pytest.fixture
def ledger(now: list[float]) -> MemoryLedger:
    return MemoryLedger(lambda: now[0], lease_s=20)


@pytest.fixture
def tickets() -> SentTickets:
    return SentTickets()


@pytest.fixture
def dispatcher(ledger: MemoryLedger, tickets: SentTickets, machines: Machines) -> Dispatcher[str]:
    machines._client.flushall()
    say(machines, "a", 4)
    return Dispatcher(
        "a", ledger=ledger, orders=Named(), plan=plan, tickets=tickets, machines=machines
    )


def say(
    machines: Machines,
    name: str,
    slots: int,
    queues: tuple[str, ...] = (HEAVY, LIGHT),
    lacks: str = "",
) -> None:
    lacking = {RUN: lacks} if lacks else {}
    told = Machine(
        machine=name, host="h", slots=slots, queues=queues, program="0", started=0, lacks=lacking
    )
    machines.hear(told)


def test_a_new_run_gets_one_light_ticket(
    dispatcher: Dispatcher[str], ledger: MemoryLedger, tickets: SentTickets
) -> None:
    ledger.open(RUN)

    assert dispatcher.tick()

    assert tickets.sent == [(RUN, LIGHT)]


@pytest.mark.parametrize("queues", [(HEAVY, LIGHT), (HEAVY,)])
def test_tickets_never_outnumber_free_slots_and_waiting_items(
    dispatcher: Dispatcher[str], ledger: MemoryLedger, tickets: SentTickets, machines: Machines,
    queues: tuple[str, ...],
) -> None:  # fmt: skip
    say(machines, "a", 4, queues)
    to_combine(ledger, 6)
    take(ledger)
    tickets.waiting = {HEAVY: 1, LIGHT: 0 if LIGHT in queues else 5}  # unread by anybody

    dispatcher.tick()

    assert tickets.sent == [(RUN, HEAVY)] * 2  # 4 slots, 1 at work, 1 ticket under way


def test_slots_that_do_not_listen_to_the_queue_count_for_nothing(
    dispatcher: Dispatcher[str], ledger: MemoryLedger, tickets: SentTickets, machines: Machines
) -> None:
    machines.leave("a")
    say(machines, "b", 8, (LIGHT,))
    to_combine(ledger, 6)

    dispatcher.tick()

    assert tickets.sent == []


def test_the_most_urgent_run_gets_the_slots(
    dispatcher: Dispatcher[str], ledger: MemoryLedger, tickets: SentTickets
) -> None:
    to_combine(ledger, 3)
    for run, priority in (("calm/v001", 10), ("urgent/v001", 90)):
        ledger.open(run, priority=priority)

    dispatcher.tick()

    assert tickets.sent == [("urgent/v001", LIGHT), *[(RUN, HEAVY)] * 3]


def test_paused_and_cancelled_runs_get_no_ticket(
    dispatcher: Dispatcher[str], ledger: MemoryLedger, tickets: SentTickets
) -> None:
    ledger.open("a/v001")
    ledger.open("b/v001")
    ledger.control("a/v001", Control.PAUSE)
    ledger.control("b/v001", Control.CANCEL)

    dispatcher.tick()

    assert tickets.sent == []


def test_a_run_is_led_from_stage_to_stage_to_its_end(
    dispatcher: Dispatcher[str], ledger: MemoryLedger
) -> None:
    ledger.open(RUN)
    for _ in range(12):
        dispatcher.tick()
        claim = ledger.claim("a/1", RUN)
        if claim:
            ledger.done(claim, {"digest": claim.item})

    record = ledger.record(RUN)
    assert record is not None
    assert record.state is RunState.DONE_WITH_REMARKS
    assert [item.item for item in ledger.items(RUN, Stage.COMBINE) if item.failure] == ["1003"]


def test_a_run_nothing_can_be_planned_for_is_ended_with_the_reason(
    dispatcher: Dispatcher[str], ledger: MemoryLedger
) -> None:
    ledger.open("odd/v001")
    claim = ledger.claim("a/1", "odd/v001")
    assert claim is not None
    ledger.done(claim, {})

    dispatcher.tick()

    record = ledger.record("odd/v001")
    assert record is not None
    assert record.state is RunState.REFUSED
    assert record.reason == "nothing can be planned after check: KeyError: 'haze'"


def test_a_lapsed_lease_is_taken_back_without_a_claim(
    dispatcher: Dispatcher[str], ledger: MemoryLedger, tickets: SentTickets, now: list[float]
) -> None:
    ledger.open(RUN)
    dispatcher.tick()
    take(ledger)
    tickets.sent.clear()
    for _ in range(5):
        now[0] += 5
        dispatcher.tick()

    assert tickets.sent != []
    assert ledger.items(RUN, Stage.CHECK)[0].failure is not None


def test_after_a_sleep_no_lease_is_taken_back(
    dispatcher: Dispatcher[str], ledger: MemoryLedger, now: list[float]
) -> None:
    ledger.open(RUN)
    dispatcher.tick()
    claim = take(ledger)
    now[0] += 8 * 3600

    dispatcher.tick()

    assert ledger.beat(claim) is Control.RUN
    assert ledger.items(RUN, Stage.CHECK)[0].failure is None


def test_only_the_one_with_the_lead_hands_out_work(
    dispatcher: Dispatcher[str], ledger: MemoryLedger, tickets: SentTickets, machines: Machines
) -> None:
    ledger.open(RUN)
    assert machines.take_lead("b", 5)

    assert not dispatcher.tick()
    assert tickets.sent == []


def waits_for(ledger: MemoryLedger) -> str:
    record = ledger.record(RUN)
    assert record is not None
    return record.waits_for


def test_a_run_waits_only_where_every_machine_lacks_something_and_goes_on_by_itself(
    dispatcher: Dispatcher[str], ledger: MemoryLedger, tickets: SentTickets, machines: Machines
) -> None:
    to_combine(ledger, 6)
    say(machines, "a", 4, lacks="room: 0.1 GB free")
    say(machines, "b", 1)
    say(machines, "light", 9, (LIGHT,))
    dispatcher.tick()
    assert (waits_for(ledger), tickets.sent) == ("", [(RUN, HEAVY)])  # b's one slot

    say(machines, "b", 1, lacks="storage: plates is empty")
    dispatcher.tick()
    assert (waits_for(ledger), len(tickets.sent)) == ("room: 0.1 GB free", 1)

    say(machines, "b", 1)
    dispatcher.tick()
    assert waits_for(ledger) == ""


def test_a_window_is_moved_where_summer_time_ends(
    dispatcher: Dispatcher[str], ledger: MemoryLedger, monkeypatch: pytest.MonkeyPatch
) -> None:
    to_combine(ledger, 1)
    ledger.control(RUN, Control.PAUSE)
    asked = Hours(window=(1200, 239), wall="22:00-06:00", zone="Europe/Berlin")
    ledger.control(RUN, hours=asked)

    windows = []
    for now_s in (1824944399.0, 1824944400.0):  # 2027-10-31, 00:59:59 and 01:00:00 UTC
        monkeypatch.setattr("glimsum_services.dispatcher.time.time", lambda now_s=now_s: now_s)
        dispatcher.tick()
        record = ledger.record(RUN)
        assert record is not None
        assert record.control is Control.PAUSE
        windows.append(record.hours.window)

    assert windows == [(1200, 239), (1260, 299)]


def test_a_queue_that_is_away_stops_nothing_for_good(
    dispatcher: Dispatcher[str],
    ledger: MemoryLedger,
    tickets: SentTickets,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    import threading

    ledger.open(RUN)
    stop = threading.Event()
    calls: list[str] = []

    def send(run: str, queue: str) -> None:
        calls.append(run)
        if len(calls) == 1:
            raise OperationalError("connection refused")
        if len(calls) == 2:
            raise redis.ConnectionError("gone")
        stop.set()

    monkeypatch.setattr(tickets, "send", send)
    dispatcher._tick_s = 0.01
    dispatcher.start(stop).join(5)

    assert len(calls) == 3
