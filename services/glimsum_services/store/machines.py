"""Which machines are there, how many slots they offer, and who of them hands out the work."""

from collections.abc import Sequence
from typing import Any

import redis
from pydantic import BaseModel, ConfigDict

from glimsum_services.store.connection import persist, server_name
from glimsum_services.store.keys import Keys

# A lock that would outlive its time was taken before the server's clock was set back.
RENEW = """
local left = redis.call('PTTL', KEYS[1])
if redis.call('GET', KEYS[1]) == ARGV[1] or left > 60000 + ARGV[2] then
  redis.call('SET', KEYS[1], ARGV[1], 'PX', ARGV[2])
  return 1
end
return redis.call('SET', KEYS[1], ARGV[1], 'NX', 'PX', ARGV[2]) and 1 or 0
"""


FORGOTTEN_S = 86_400.0
"""A machine silent for so long is forgotten."""


class Machine(BaseModel):
    """What a worker says of itself."""

    model_config = ConfigDict(frozen=True, extra="ignore")

    machine: str
    """Random name, kept in the state folder."""
    host: str
    slots: int
    queues: tuple[str, ...]
    program: str
    """Version of this program."""
    started: float
    """Seconds since 1970 UTC by the machine's own clock."""
    lacks: dict[str, str] = {}
    """What keeps it from runs now, in words, by run."""
    heard: float = 0.0
    """Seconds since 1970 UTC by the server's clock."""


class Machines:
    """The machines that were heard lately.

    Parameters
    ----------
    client : redis.Redis
        From `glimsum_services.store.connection.connect`.
    keys : Keys, optional
        Names of the keys.
    """

    def __init__(self, client: redis.Redis, keys: Keys | None = None) -> None:
        self._client = client
        self._keys = keys or Keys()
        self._renew = client.register_script(RENEW)

    def _now(self) -> float:
        return _seconds(self._client.time())

    def hear(self, machine: Machine) -> None:
        """Note that `machine` is there now."""

        def ask() -> None:
            text = machine.model_dump_json(exclude={"heard"})
            with self._client.pipeline(transaction=True) as batch:
                batch.hset(self._keys.machine_facts, machine.machine, text)
                batch.zadd(self._keys.machines, {machine.machine: self._now()})
                batch.execute()

        persist(ask, 2.0, server_name(self._client))

    def leave(self, machine: str) -> None:
        """Note that `machine` has stopped in good order."""

        def ask() -> None:
            with self._client.pipeline(transaction=True) as batch:
                batch.zrem(self._keys.machines, machine)
                batch.hdel(self._keys.machine_facts, machine)
                batch.execute()

        persist(ask, 0.3, server_name(self._client))

    def heard_within(self, seconds: float) -> Sequence[Machine]:
        """Return the machines heard in the last `seconds`, by name; forget those silent a day."""

        def ask() -> list[Machine]:
            with self._client.pipeline(transaction=True) as batch:
                batch.time()
                batch.zrange(self._keys.machines, 0, -1, withscores=True)
                batch.hgetall(self._keys.machine_facts)
                clock, found, facts = batch.execute()
            now = _seconds(clock)
            times = {str(name): float(time) for name, time in found}
            for name in [name for name, time in times.items() if time < now - FORGOTTEN_S]:
                self.leave(name)
            oldest = now - min(seconds, FORGOTTEN_S)
            heard = [name for name, time in times.items() if time >= oldest]
            known = [Machine.model_validate_json(facts[name]) for name in heard if name in facts]
            return [each.model_copy(update={"heard": times[each.machine]}) for each in known]

        return sorted(persist(ask, 2.0, server_name(self._client)), key=lambda each: each.machine)

    def take_lead(self, name: str, for_s: float) -> bool:
        """Return whether `name` hands out the work for the next `for_s` seconds.

        Thrift only: two who believe it at once send a few tickets twice, which does no harm.
        """
        milliseconds = max(1, int(for_s * 1000))

        def ask() -> bool:
            return bool(self._renew(keys=[self._keys.lock], args=[name, milliseconds]))

        return persist(ask, 1.0, server_name(self._client))


def _seconds(clock: Any) -> float:  # the library's type leaves out decoded answers
    return int(clock[0]) + int(clock[1]) / 1e6
