import time

import redis

from glimsum_services.store.keys import Keys
from glimsum_services.store.machines import FORGOTTEN_S, Machine, Machines


def machine(name: str) -> Machine:
    return Machine(
        machine=name, host="bench", slots=2, queues=("heavy",), program="0.1.0", started=1.0
    )


def test_a_machine_is_there_while_it_is_heard(server: redis.Redis) -> None:
    machines = Machines(server)
    machines.hear(machine("b"))
    machines.hear(machine("a"))

    assert [each.machine for each in machines.heard_within(5)] == ["a", "b"]
    time.sleep(0.2)
    assert machines.heard_within(0.1) == []


def test_a_machine_that_leaves_is_gone(server: redis.Redis) -> None:
    machines = Machines(server)
    machines.hear(machine("a"))
    machines.leave("a")

    assert machines.heard_within(5) == []


def test_a_machine_that_was_silent_for_a_day_is_forgotten(server: redis.Redis) -> None:
    machines, keys = Machines(server), Keys()
    machines.hear(machine("a"))
    machines.hear(machine("b"))
    server.zincrby(keys.machines, -FORGOTTEN_S - 1, "a")

    assert [each.machine for each in machines.heard_within(2 * FORGOTTEN_S)] == ["b"]
    assert server.hkeys(keys.machine_facts) == ["b"]


def test_one_has_the_lead_until_it_lets_it_lapse(server: redis.Redis) -> None:
    machines = Machines(server)

    assert machines.take_lead("a", 0.2)
    assert machines.take_lead("a", 0.2)
    assert not machines.take_lead("b", 0.2)
    time.sleep(0.25)
    assert machines.take_lead("b", 0.2)


def test_a_lead_taken_before_the_clock_was_set_back_does_not_last_for_hours(
    server: redis.Redis,
) -> None:
    machines = Machines(server)
    server.set(Keys().lock, "gone", px=3_600_000)  # what is left of it after an hour back

    assert machines.take_lead("b", 0.2)
    assert 0 < int(server.pttl(Keys().lock)) <= 200
