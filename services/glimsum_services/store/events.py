"""The one stream of everything that happens, read from any point on."""

from typing import Any

import redis
from pydantic import BaseModel, ConfigDict

from glimsum_services.store.connection import connect, persist, server_name
from glimsum_services.store.keys import Keys

MOST_READ = 1000
"""Most events of one read."""


class Event(BaseModel):
    """One change of one run."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    id: str
    """``EPOCH-MILLISECONDS-NUMBER``; the epoch is another one when the ledger is another one."""
    kind: str
    """opened, taken, done, came back, set aside, given back, conflict, stage, control, retried,
    ended."""
    run: str
    revision: int
    stage: str
    item: str
    worker: str
    time: float
    """Seconds since 1970 UTC by the server's clock."""


class EventGap(Exception):  # no error: the reader takes a fresh picture
    """Events after the given id are gone, or the id is of another ledger."""


class Events:
    """Reads the stream.

    Parameters
    ----------
    client : redis.Redis
        From `glimsum_services.store.connection.connect`; a blocking read holds one connection.
    epoch : str
        From `glimsum_services.store.connection.adopt`.
    keys : Keys, optional
        Names of the keys.
    """

    def __init__(self, client: redis.Redis, epoch: str, keys: Keys | None = None) -> None:
        self._client = client
        self._epoch = epoch
        self._keys = keys or Keys()

    def newest(self) -> str:
        """Return the id of the newest event: where a new reader begins."""
        found: Any = persist(
            lambda: self._client.xrevrange(self._keys.events, count=1), 2.0, self._server
        )
        return f"{self._epoch}-{found[0][0] if found else '0-0'}"

    @property
    def _server(self) -> str:
        return server_name(self._client)

    def read(self, after: str, *, wait_s: float = 0.0, most: int = MOST_READ) -> list[Event]:
        """Return the events after the id `after`, oldest first.

        Parameters
        ----------
        after : str
            Id of the last event seen, or from `newest`.
        wait_s : float
            How long to wait for one if there is none, below 5 s (the client's time-out).
        most : int
            At most this many.

        Returns
        -------
        list of Event
            Empty if nothing happened in that time.

        Raises
        ------
        EventGap
            The id is of another ledger, or events after it were already dropped.
        StoreError
            The server gives no answer.
        """
        place = self._place(after)
        milliseconds = int(min(wait_s, 4.0) * 1000) or None

        def ask() -> list[tuple[str, dict[str, str]]]:
            found: Any = self._client.xread({self._keys.events: place}, most, milliseconds)
            return [entry for _, entries in found for entry in entries]

        found = persist(ask, 2.0 + wait_s, self._server)
        if found and self._dropped_after(place):  # the newest is never dropped
            raise EventGap(after)
        return [self._event(*each) for each in found]

    def _place(self, after: str) -> str:
        """Return the place in the stream that the id `after` names; EventGap if it is not ours."""
        epoch, _, place = after.partition("-")
        try:
            _order(place)
        except ValueError:
            raise EventGap(after) from None
        if epoch != self._epoch:
            raise EventGap(after)
        return place

    def _dropped_after(self, place: str) -> bool:
        """Return whether the stream has lost events after `place`, by now."""
        first: Any = persist(
            lambda: self._client.xrange(self._keys.events, count=1), 2.0, self._server
        )
        if first and _order(first[0][0]) <= _order(place):
            return False
        facts = persist(lambda: self._client.xinfo_stream(self._keys.events), 2.0, self._server)
        return int(facts["entries-added"]) > int(facts["length"])

    def _event(self, place: str, fields: dict[str, str]) -> Event:
        return Event(
            id=f"{self._epoch}-{place}",
            time=_order(place)[0] / 1000,
            kind=fields["kind"],
            run=fields["run"],
            revision=int(fields["revision"]),
            stage=fields["stage"],
            item=fields["item"],
            worker=fields["worker"],
        )


def open_events(url: str, epoch: str, keys: Keys | None = None) -> Events:
    """Return a reader with a client of its own, for one that waits."""
    return Events(connect(url), epoch, keys)


def _order(place: str) -> tuple[int, int]:
    milliseconds, _, number = place.partition("-")
    return int(milliseconds), int(number)
