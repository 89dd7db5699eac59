"""Following runs through the stream of events, and by asking where it can't be had."""

import json
import time
from collections.abc import Iterator, Sequence
from contextlib import suppress

import httpx

from glimsum_services.client import Client
from glimsum_services.run_view import RunView, view_of, view_of_wedge
from glimsum_services.service_errors import ServiceAway

POLL_S = 1.0
"""Between two looks while there is no stream."""
SILENCE_S = 40.0
"""A stream that says nothing for so long is dead: a live one speaks every 15 s."""
PATIENCE_S = 60.0
"""How long a service may be away, to be started again, before following ends."""


def follow_runs(
    client: Client, runs: Sequence[str], *, patience_s: float = PATIENCE_S
) -> Iterator[list[RunView]]:
    """Yield where `runs` stand, again after each change, until all have ended.

    Raises
    ------
    ServiceAway
        The service did not answer for `patience_s`.
    JobError
        One of the runs is unknown.
    """
    while True:
        views = _look(client, runs, patience_s)
        yield list(views.values())
        if _ended(views):
            return
        with suppress(httpx.HTTPError, ValueError, LookupError, ServiceAway):
            for change in _changes(client):
                if change is None:
                    views = _look(client, runs, patience_s)
                elif change.run in views:
                    views[change.run] = change
                else:
                    continue
                yield list(views.values())
                if _ended(views):
                    return
        time.sleep(POLL_S)


def _ended(views: dict[str, RunView]) -> bool:
    return all(view.ended for view in views.values())


def _look(client: Client, runs: Sequence[str], patience_s: float) -> dict[str, RunView]:
    """Ask where all runs stand; a service that is away is waited for."""
    deadline = time.monotonic() + patience_s
    while True:
        try:
            return {run: client.view(run) for run in runs}
        except ServiceAway:
            if time.monotonic() > deadline:
                raise
            time.sleep(POLL_S)


def _changes(client: Client) -> Iterator[RunView | None]:
    """Yield each run the stream tells of, None where everything is to be asked for once.

    The stream's form: HTML Living Standard, 9.2 server-sent events.
    """
    timeout = httpx.Timeout(10.0, read=SILENCE_S)
    with client.http.stream("GET", f"{client.address}/events", timeout=timeout) as answer:
        answer.raise_for_status()
        kind, data = "", ""
        for line in answer.iter_lines():
            if line.startswith("event:"):
                kind = line[6:].strip()
            elif line.startswith("data:"):
                data += line[5:].strip()
            elif not line:
                if kind == "shot":
                    yield view_of(json.loads(data))
                elif kind == "wedge":
                    yield view_of_wedge(json.loads(data))
                elif kind == "snapshot":
                    yield None
                kind, data = "", ""
