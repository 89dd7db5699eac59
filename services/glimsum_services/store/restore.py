"""Putting a run back into a ledger that has lost it, whole or not at all.

One transaction writes what the ledger's script (moves.lua, verbs.lua) would have written item by
item: nobody can take a frame that is done before the ledger knows that it is.
"""

import json
from collections.abc import Iterator, Sequence
from hashlib import sha256
from typing import Any

import redis

from glimsum_jobs.ledger import STAGES, ItemRecord, ItemState, Stage
from glimsum_jobs.restored import RestoredRun
from glimsum_services.store.connection import persist, server_name
from glimsum_services.store.keys import Keys

PIECE = 500
"""Items of one command; the commands of a run are one transaction."""

Call = tuple[Any, ...]


class Restorer:
    """Writes runs into the ledger.

    Parameters
    ----------
    client : redis.Redis
        From `glimsum_services.store.connection.connect`.
    keys : Keys, optional
        Names of the keys.
    patience_s : float
        How long one call is repeated while there is no answer.
    """

    def __init__(
        self, client: redis.Redis, keys: Keys | None = None, patience_s: float = 30.0
    ) -> None:
        self._client = client
        self._keys = keys or Keys()
        self._patience_s = patience_s

    def restore(self, restored: RestoredRun, *, replace: bool = False) -> bool:
        """Put a run into the ledger; False, and nothing changes, when it is there already.

        Parameters
        ----------
        restored : RestoredRun
            As it stood.
        replace : bool
            Take the place of a run that has ended.

        Raises
        ------
        StoreError
            The server gives no answer; the run is there whole or not at all.
        """
        tried: set[str] = set()
        return persist(
            lambda: self._restore(restored, tried, replace=replace),
            self._patience_s,
            server_name(self._client),
        )

    def _restore(self, restored: RestoredRun, tried: set[str], *, replace: bool) -> bool:
        keys = self._keys.of_run(restored.run)
        with self._client.pipeline(transaction=True) as batch:
            try:
                batch.watch(keys[0])  # type: ignore[no-untyped-call]  # redis-py
                known: Any = batch.hmget(keys[0], "stage", "ended", "token")
                if known[2] in tried:  # it was done, and only its answer was lost
                    return True
                if known[0] is not None and not (replace and known[1] is not None):
                    return False
                clock: Any = batch.time()
                now = int(clock[0])
                tried.add(str(now))
                batch.multi()
                for call in _calls(restored, keys, now):
                    batch.execute_command(*call)  # type: ignore[no-untyped-call]  # redis-py
                batch.execute()
            except redis.WatchError:  # somebody opened it just now
                return False
        return True


def _calls(restored: RestoredRun, keys: Sequence[str], now: int) -> Iterator[Call]:
    opened, events = keys[11], keys[12]
    yield ("DEL", *keys[:11])
    yield ("HSET", keys[0], *_facts(restored, now))
    for stage, items in restored.stages.items():
        open_now = restored.state is None and stage is restored.stage
        placed = list(enumerate(items, 1))
        for first in range(0, len(placed), PIECE):
            yield from _piece(stage, placed[first : first + PIECE], keys, open_now=open_now)
    if restored.state is None:
        urgency = 100 - restored.wishes.priority
        yield ("ZADD", opened, f"{urgency * 1e10 + restored.begun:.6f}", restored.run)
    else:
        yield ("ZREM", opened, restored.run)
    facts = {"run": restored.run, "revision": now, "stage": restored.stage.value}
    told = {"kind": "opened", **facts, "item": "", "worker": ""}
    yield ("XADD", events, "MAXLEN", "~", 100000, "*", *_flat(told))


def _facts(restored: RestoredRun, now: int) -> list[object]:
    """Return the fields of the run.

    Token and revision go on from the server's seconds, above all that were ever given: what a
    worker still holds from before is refused, and watchers take the run for changed.
    """
    wishes = restored.wishes
    facts: dict[str, object] = {
        "stage": restored.stage.value,
        "control": wishes.control.value,
        "priority": wishes.priority,
        "begun": f"{restored.begun:.6f}",
        "revision": now,
        "token": now,
        "hours": wishes.hours.model_dump_json(exclude_none=True),
    }
    for stage, items in restored.stages.items():
        facts[f"total {stage.value}"] = len(items)
        facts[f"done {stage.value}"] = restored.count(stage, ItemState.DONE)
        facts[f"aside {stage.value}"] = restored.count(stage, ItemState.SET_ASIDE)
    if restored.state is not None and restored.ended is not None:
        facts |= {"state": restored.state.value, "ended": f"{restored.ended:.6f}", "reason": ""}
    return _flat(facts)


def _piece(
    stage: Stage, items: Sequence[tuple[int, ItemRecord]], keys: Sequence[str], *, open_now: bool
) -> Iterator[Call]:
    order, waiting, tries, results, failures, aside = (keys[i] for i in (1, 2, 7, 8, 9, 10))
    begin = STAGES.index(stage) * 2**32
    tags = {item.item: f"{stage.value}/{item.item}" for _, item in items}
    places = [part for place, item in items for part in (begin + place, tags[item.item])]
    if places:
        yield ("ZADD", order, *places)
    queue = [
        part
        for place, item in items
        if item.state is ItemState.WAITING
        for part in (begin + place, tags[item.item])
    ]
    if queue and open_now:
        yield ("ZADD", waiting, *queue)
    done = {tags[item.item]: item for _, item in items if item.state is ItemState.DONE}
    if done:
        yield ("HSET", results, *_flat({tag: _kept(item) for tag, item in done.items()}))
        yield ("HSET", tries, *_flat({f"{tag} begun": item.tries for tag, item in done.items()}))
    lost = {
        tags[item.item]: item.failure
        for _, item in items
        if item.state is ItemState.SET_ASIDE and item.failure is not None
    }
    if lost:
        texts = {tag: failure.model_dump_json() for tag, failure in lost.items()}
        yield ("HSET", failures, *_flat(texts))
        yield ("SADD", aside, *lost)


def _kept(item: ItemRecord) -> str:
    """Return a result as the ledger keeps it; nobody holds a token of it any more."""
    result = item.result or {}
    text = json.dumps(result, sort_keys=True)
    mark = str(result.get("digest") or sha256(text.encode()).hexdigest())
    return json.dumps({"token": 0, "mark": mark, "worker": item.worker or "", "result": result})


def _flat(pairs: dict[str, Any]) -> list[object]:
    return [part for pair in pairs.items() for part in pair]
