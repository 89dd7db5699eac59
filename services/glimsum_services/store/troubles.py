"""What was set aside of a run and why, without reading what is well: a report asks many runs."""

import json
from typing import Any

import redis
from pydantic import BaseModel, ConfigDict

from glimsum_jobs.ledger import Cause
from glimsum_services.store.connection import persist, server_name
from glimsum_services.store.keys import Keys


class Trouble(BaseModel):
    """An item that was set aside."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    stage: str
    item: str
    cause: Cause | None
    """None where the reason was not read."""
    message: str


class RunTroubles(BaseModel):
    """What did not go well in a run."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    aside: tuple[Trouble, ...]
    came_back: int
    """Items that were begun more than once and are not set aside."""


class Troubles:
    """Reads them.

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

    def of(self, run: str, most_reasons: int = 200) -> RunTroubles:
        """Return what was set aside; the reasons of the first `most_reasons` items.

        Raises
        ------
        StoreError
            The server gives no answer.
        """
        return persist(lambda: self._of(run, most_reasons), 2.0, server_name(self._client))

    def _of(self, run: str, most_reasons: int) -> RunTroubles:
        keys = self._keys.of_run(run)
        failures, aside = keys[9], keys[10]
        with self._client.pipeline(transaction=False) as batch:
            batch.smembers(aside)
            batch.hlen(failures)
            found: Any = batch.execute()
        tags = sorted(found[0], key=_order)
        read = tags[:most_reasons]
        texts: Any = self._client.hmget(failures, read) if read else []
        known = [None if text is None else json.loads(text) for text in texts]
        known += [None] * (len(tags) - len(known))
        return RunTroubles(
            aside=tuple(_trouble(*each) for each in zip(tags, known, strict=True)),
            came_back=max(0, int(found[1]) - len(tags)),
        )


def _order(tag: str) -> tuple[str, int, str]:
    stage, _, item = tag.partition("/")
    return stage, int(item) if item.isdecimal() else 0, item


def _trouble(tag: str, failure: dict[str, Any] | None) -> Trouble:
    stage, _, item = tag.partition("/")
    cause = Cause(failure["cause"]) if failure else None
    message = str(failure["message"]) if failure else ""
    return Trouble(stage=stage, item=item, cause=cause, message=message)
