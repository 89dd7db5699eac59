"""What machines agreed on: which folder each root is, who began a run, who leaves it alone."""

import json
from collections.abc import Mapping

import redis
from pydantic import BaseModel, ConfigDict

from glimsum_services.store.connection import persist, server_name
from glimsum_services.store.keys import Keys

DECLINED_S = 20
"""How long it is remembered that a machine leaves a run alone, seconds."""


class KnownRoot(BaseModel):
    """A root as the first machine that had it made it known."""

    model_config = ConfigDict(frozen=True, extra="ignore")

    id: str
    """What its marker says; empty: nobody could write one."""
    folder: str
    """Where the machine that made it known has it."""


class Joined:
    """What has to be the same on all machines.

    Every method raises StoreError when the server gives no answer.

    Parameters
    ----------
    client : redis.Redis
        From `glimsum_services.store.connection.connect`.
    keys : Keys, optional
        Names of the keys.
    """

    def __init__(self, client: redis.Redis, keys: Keys | None = None) -> None:
        prefix = (keys or Keys()).prefix
        self._client = client
        self._roots = f"{prefix}roots"
        self._makers = f"{prefix}makers"
        self._declined = f"{prefix}declined:"
        self._server = server_name(client)

    def roots(self) -> Mapping[str, KnownRoot]:
        """Return every root that was made known."""
        found = persist(lambda: self._client.hgetall(self._roots), 2.0, self._server)
        return {
            str(name): KnownRoot.model_validate_json(text) for name, text in dict(found).items()
        }

    def make_root_known(self, name: str, root: KnownRoot, *, instead: bool = False) -> KnownRoot:
        """Make a root known if it is not, or `instead` of what was known; return what stands."""
        text = root.model_dump_json()

        def ask() -> str:
            if instead:
                self._client.hset(self._roots, name, text)
            else:
                self._client.hsetnx(self._roots, name, text)
            return str(self._client.hget(self._roots, name))

        return KnownRoot.model_validate_json(persist(ask, 2.0, self._server))

    def begin(self, run: str, maker: str) -> str:
        """Say that `maker` begins a run, and return who began it first."""

        def ask() -> str:
            self._client.hsetnx(self._makers, run, maker)
            return str(self._client.hget(self._makers, run))

        return persist(ask, 2.0, self._server)

    def forget(self, run: str) -> None:
        """Forget who began a run that is removed."""
        persist(lambda: self._client.hdel(self._makers, run), 2.0, self._server)

    def maker_of(self, run: str) -> str | None:
        """Return who began a run, or None if nobody did."""
        found = persist(lambda: self._client.hget(self._makers, run), 2.0, self._server)
        return None if found is None else str(found)

    def decline(self, run: str, machine: str, reason: str) -> None:
        """Note for a while that `machine` leaves a run alone, and why."""
        name = self._declined + run

        def ask() -> None:
            with self._client.pipeline(transaction=True) as batch:
                batch.hset(name, machine, json.dumps(reason))
                batch.expire(name, DECLINED_S)
                batch.execute()

        persist(ask, 2.0, self._server)

    def declined(self, run: str) -> Mapping[str, str]:
        """Return the machines that left a run alone lately, each with its reason."""
        found = persist(lambda: self._client.hgetall(self._declined + run), 2.0, self._server)
        return {str(machine): str(json.loads(text)) for machine, text in dict(found).items()}
