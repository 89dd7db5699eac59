"""The way to the server: one client for each address, short timeouts, faults in words."""

import os
import time
from collections.abc import Callable, Sequence
from secrets import token_hex
from typing import Any, TypeVar
from urllib.parse import urlsplit
from weakref import WeakKeyDictionary

import redis
from redis.backoff import NoBackoff
from redis.retry import Retry

from glimsum_jobs.errors import StoreError
from glimsum_jobs.problems import Place, Problem, Rank
from glimsum_services.store.keys import SCHEMA, Keys

Answer = TypeVar("Answer")

NO_ANSWER = (redis.ConnectionError, redis.TimeoutError)
"""After one of these the outcome of a call is unknown; every call may be made again."""

_addresses: WeakKeyDictionary[redis.Redis, str] = WeakKeyDictionary()
"""Every client of this process, and where its server is."""
_left_alone: list[redis.ConnectionPool] = []
"""What belongs to the process this one was forked from; closing it would touch its locks."""


def connect(url: str) -> redis.Redis:
    """Return a client of the server at `url` (``redis://``, ``rediss://`` or ``unix://``).

    Nothing is sent yet. The client may be used from several threads and after a fork.
    """
    client = redis.Redis.from_pool(_lines_to(url))
    _addresses[client] = url
    return client


def _lines_to(url: str) -> redis.ConnectionPool:
    return redis.ConnectionPool.from_url(
        url,
        decode_responses=True,
        socket_timeout=5,
        socket_connect_timeout=2,
        retry=Retry(NoBackoff(), 0),
    )


def _begin_process() -> None:
    """Give each client of a process that was forked just now lines of its own.

    A thread of the parent may hold the lock of the old ones at that moment; in the child nobody
    would ever let go of it, and the first call would wait for ever.
    """
    for client, url in list(_addresses.items()):
        _left_alone.append(client.connection_pool)
        client.connection_pool = _lines_to(url)


os.register_at_fork(after_in_child=_begin_process)


def persist(call: Callable[[], Answer], patience_s: float, server: str) -> Answer:
    """Make `call`, again and again while there is no answer, for at most `patience_s` seconds.

    Raises
    ------
    StoreError
        No answer in that time, or the server refuses (full, not writable, another kind).
    """
    deadline = time.monotonic() + patience_s
    wait_s = 0.05
    while True:
        try:
            return call()
        except NO_ANSWER as error:
            if time.monotonic() + wait_s > deadline:
                raise StoreError(
                    "the ledger gives no answer, so the outcome of this call is unknown",
                    place=Place(file=server),
                    seen=f"{type(error).__name__}: {error}",
                    expected=f"an answer within {patience_s:g} s",
                    remedy="Nothing is lost: start the server again, work goes on by itself.",
                ) from error
        except redis.ResponseError as error:
            raise StoreError(
                "the ledger's server refuses a call",
                place=Place(file=server),
                seen=str(error),
                expected="a writable server with free memory and disk",
                remedy="Free disk space or memory on the server; work goes on by itself.",
            ) from error
        time.sleep(wait_s)
        wait_s = min(wait_s * 2, 0.5)


def run_together(
    client: redis.Redis, calls: Sequence[tuple[Any, ...]], patience_s: float
) -> list[Any]:
    """Return the answers to commands that are run at one moment; raises as `persist`."""
    several = len(calls) > 1  # one alone needs no transaction

    def run() -> list[Any]:
        with client.pipeline(transaction=several) as batch:
            for call in calls:
                batch.execute_command(*call)  # type: ignore[no-untyped-call]  # redis-py
            return list(batch.execute())

    return persist(run, patience_s, server_name(client))


def server_name(client: redis.Redis) -> str:
    """Return the server's address without any password."""
    known = client.connection_pool.connection_kwargs
    return str(known.get("path") or f"{known.get('host')}:{known.get('port')}")


def hide_password(url: str) -> str:
    """Return `url` fit for a log: without user and password."""
    parts = urlsplit(url)
    return parts._replace(netloc=parts.netloc.rpartition("@")[2]).geturl()


def adopt(client: redis.Redis, keys: Keys, patience_s: float = 10.0) -> str:
    """Make sure the server holds a ledger of our layout, and return the epoch of its stream.

    Raises
    ------
    StoreError
        The server can't be reached, or its ledger has another layout.
    """
    server = server_name(client)

    def ask() -> tuple[str, str]:
        client.set(keys.schema, str(SCHEMA), nx=True)
        client.set(keys.epoch, token_hex(4), nx=True)
        return str(client.get(keys.schema)), str(client.get(keys.epoch))

    schema, epoch = persist(ask, patience_s, server)
    if schema != str(SCHEMA):
        raise StoreError(
            "the ledger was written by another version of this program",
            place=Place(file=server),
            seen=f"layout {schema}",
            expected=f"layout {SCHEMA}",
            remedy="Use the version that wrote it until its shots are done, or an empty server.",
        )
    return epoch


def inspect_server(client: redis.Redis, patience_s: float = 10.0) -> list[Problem]:
    """Return what is wrong with the settings of a server that somebody else runs.

    A server that throws keys away stops everything; one that forgets at a restart, or can't be
    asked, is a remark.

    Raises
    ------
    StoreError
        The server can't be reached.
    """
    server = server_name(client)
    place = Place(file=server)

    def ask() -> dict[str, str]:
        wanted = ("maxmemory-policy", "appendonly")
        return {name: str(client.config_get(name).get(name, "")) for name in wanted}

    try:
        found = persist(ask, patience_s, server)
    except StoreError as error:
        if not isinstance(error.__cause__, redis.ResponseError):
            raise
        return [
            Problem(
                rank=Rank.REMARK,
                what="the server does not tell its settings",
                place=place,
                seen=error.seen,
                expected="CONFIG GET allowed",
                remedy="See to it that it never evicts keys and keeps an append-only file.",
            )
        ]
    problems = []
    if found["maxmemory-policy"] != "noeviction":
        problems.append(
            Problem(
                rank=Rank.STOPS_SHOT,
                what="the server throws keys away when its memory is full; frames would be lost",
                place=place,
                seen=f"maxmemory-policy {found['maxmemory-policy']}",
                expected="maxmemory-policy noeviction",
                remedy="Set maxmemory-policy noeviction on the server.",
            )
        )
    if found["appendonly"] != "yes":
        problems.append(
            Problem(
                rank=Rank.REMARK,
                what="the server forgets recent work when it stops",
                place=place,
                seen=f"appendonly {found['appendonly']}",
                expected="appendonly yes",
                remedy="Set appendonly yes on the server; appendfsync always loses nothing.",
            )
        )
    return problems
