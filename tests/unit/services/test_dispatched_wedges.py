"""Tickets for wedges: one at a time, and those that wait make way."""

from collections.abc import Iterator

import pytest

from glimsum_jobs.ledger import RunState, Stage
from glimsum_jobs.tickets import HEAVY
from glimsum_services.dispatcher import Dispatcher
from glimsum_services.store.machines import Machines
from support.ledger_contract import RUN, to_combine
from support.memory_ledger import MemoryLedger
from support.server import running_server
from unit.services.test_dispatcher import Named, SentTickets, plan, say


@pytest.fixture
def machines() -> Iterator[Machines]:
    with running_server() as (client, _):
        made = Machines(client)
        say(made, "a", 4)
        yield made


@pytest.fixture
def ledger() -> MemoryLedger:
    return MemoryLedger(lambda: 1_800_000_000.0, lease_s=20)


@pytest.fixture
def tickets() -> SentTickets:
    return SentTickets()


@pytest.fixture
def dispatcher(ledger: MemoryLedger, tickets: SentTickets, machines: Machines) -> Dispatcher[str]:
    return Dispatcher(
        "a", ledger=ledger, orders=Named(), plan=plan, tickets=tickets, machines=machines
    )


def test_of_many_wedges_one_gets_a_ticket_and_frames_get_the_other_slots(
    dispatcher: Dispatcher[str], ledger: MemoryLedger, tickets: SentTickets
) -> None:
    to_combine(ledger, 6)
    for number in range(1, 6):
        ledger.open(f"mole_040/w00{number}", priority=100, stage=Stage.WEDGE)

    dispatcher.tick()
    assert tickets.sent == [("mole_040/w001", HEAVY), *[(RUN, HEAVY)] * 3]

    tickets.sent.clear()
    assert ledger.claim("a/1", "mole_040/w001") is not None
    dispatcher.tick()
    assert tickets.sent == [(RUN, HEAVY)] * 3


def test_a_wedge_no_machine_can_make_now_says_why_and_makes_way(
    dispatcher: Dispatcher[str], ledger: MemoryLedger, tickets: SentTickets, machines: Machines
) -> None:
    for number in (1, 2):
        ledger.open(f"mole_040/w00{number}", priority=100, stage=Stage.WEDGE)
    lacks = {"mole_040/w001": "mole_040/v001 is not measured yet"}
    [known] = machines.heard_within(10)
    machines.hear(known.model_copy(update={"lacks": lacks}))

    for _ in range(2):
        dispatcher.tick()

    record = ledger.record("mole_040/w001")
    assert record is not None
    assert (record.state, record.waits_for) == (RunState.PAUSED, lacks["mole_040/w001"])
    assert {run for run, _ in tickets.sent} == {"mole_040/w002"}
