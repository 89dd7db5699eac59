"""Carries what happens to everyone who watches: one reader of the ledger, one text for all."""

import asyncio
import json
import logging
import threading
import time
from collections import Counter
from collections.abc import AsyncIterator, Sequence
from contextlib import suppress

from redis.exceptions import RedisError
from starlette.concurrency import run_in_threadpool

from glimsum_jobs.errors import StoreError
from glimsum_jobs.orders import is_wedge
from glimsum_services.api.service import Service
from glimsum_services.api.views import show_shot
from glimsum_services.api.wedge_views import show_wedge
from glimsum_services.store.events import MOST_READ, Event, EventGap

log = logging.getLogger(__name__)

MOST_WATCHERS = 500
MOST_WAITING = 64
"""Messages kept for a watcher who is slow; then one snapshot stands for all of them."""
COALESCE_S = 0.25
"""At most one message a run in this time."""
ALIVE_S = 15.0
"""Silence after which a comment shows that the line still stands."""

Message = tuple[str, bytes]
"""Shot the message is about, empty for everyone's, and its bytes."""


def encode(kind: str, data: object, event_id: str | None = None) -> bytes:
    """Return one event of a stream (HTML Living Standard, 9.2 server-sent events)."""
    head = f"id: {event_id}\n" if event_id else ""
    text = json.dumps(data, separators=(",", ":"), ensure_ascii=False)
    return f"{head}event: {kind}\ndata: {text}\n\n".encode()


def _marked(messages: list[Message], event_id: str) -> list[Message]:
    """Put the id on the last message alone: a line that breaks before it begins with all again."""
    if messages:
        shot, data = messages[-1]
        messages[-1] = (shot, f"id: {event_id}\n".encode() + data)
    return messages


class Watcher:
    """One open stream."""

    def __init__(self, shot: str | None) -> None:
        self.shot = shot
        self.queue: asyncio.Queue[bytes] = asyncio.Queue(MOST_WAITING)

    def offer(self, message: Message, snapshot: bytes) -> None:
        """Add a message if it is for this watcher; on overflow a snapshot replaces all."""
        shot, data = message
        if self.shot is not None and shot not in ("", self.shot):
            return
        if self.queue.full():
            while not self.queue.empty():
                self.queue.get_nowait()
            data = snapshot
        self.queue.put_nowait(data)


class Watch:
    """Reads the ledger's stream in one thread and hands each change to all watchers.

    Parameters
    ----------
    service : Service
        Its `events` is used by this thread alone.

    Attributes
    ----------
    heard : Counter
        How often each kind of event was heard of each stage since this process began.
    """

    def __init__(self, service: Service) -> None:
        self._service = service
        self.heard: Counter[tuple[str, str]] = Counter()
        self._watchers: set[Watcher] = set()
        self._stop = threading.Event()
        self._loop: asyncio.AbstractEventLoop | None = None
        self._thread = threading.Thread(target=self._run, name="watch", daemon=True)

    def start(self) -> None:
        """Begin, inside the running event loop."""
        self._loop = asyncio.get_running_loop()
        self._thread.start()

    def stop(self) -> None:
        """End the thread; it takes a second at most."""
        self._stop.set()
        self._thread.join(6)

    @property
    def full(self) -> bool:
        """Whether no more watchers are taken."""
        return len(self._watchers) >= MOST_WATCHERS

    async def stream(
        self, shot: str | None, first: Sequence[bytes], place: str
    ) -> AsyncIterator[bytes]:
        """Yield the bytes of one stream: `first`, then what happens, until the reader leaves.

        `first` was told up to `place`; what happened since then was not heard by this watcher.
        """
        watcher = Watcher(shot)
        self._watchers.add(watcher)
        try:
            for data in first:
                yield data
            for data in await run_in_threadpool(self._between, place, shot):
                yield data
            while not self._stop.is_set():
                try:
                    yield await asyncio.wait_for(watcher.queue.get(), ALIVE_S)
                except TimeoutError:
                    yield b": still here\n\n"
        finally:
            self._watchers.discard(watcher)

    def since(self, last: str | None, shot: str | None) -> tuple[list[bytes], str]:
        """Return what a reader who saw `last` must be told first, and up to where that tells.

        A reader without `last`, or whose place in the stream is gone, gets a snapshot: it asks
        for everything once. Raises StoreError when the ledger gives no answer.
        """
        events = self._service.events
        newest = events.newest()
        if last is None:
            return [b"retry: 2000\n\n", self._snapshot(newest)], newest
        try:
            missed = events.read(last)
        except (EventGap, RedisError):
            return [self._snapshot(newest)], newest
        if len(missed) >= MOST_READ:  # there may be more
            return [self._snapshot(newest)], newest
        newest = missed[-1].id if missed else last
        runs = list(dict.fromkeys(event.run for event in missed))
        told = [each for each in self._tell(runs) if shot in (None, each[0])]
        return [data for _, data in _marked(told, newest)], newest

    def _between(self, place: str, shot: str | None) -> list[bytes]:
        try:
            return self.since(place, shot)[0]
        except (StoreError, RedisError):
            return [self._snapshot(None)]

    def _run(self) -> None:
        after: str | None = None
        quiet = False
        while not self._stop.is_set():
            try:
                after = self._round(after)
                quiet = False
            except EventGap:
                after = None
            except (StoreError, RedisError) as error:
                if not quiet:
                    log.warning("watchers hear nothing until the ledger answers: %s", error)
                    self._spread([("", encode("silence", {"what": "the ledger gives no answer"}))])
                quiet = True
                self._stop.wait(1.0)
            except Exception:
                log.exception("telling watchers failed; going on")
                self._stop.wait(1.0)

    def _round(self, after: str | None) -> str:
        """Wait for events, gather those of a short time, and tell about each run once."""
        events = self._service.events
        if after is None:  # nobody is told what happened before this place
            after = events.newest()
            self._spread([("", self._snapshot(None))])
        found = events.read(after, wait_s=0.5)
        if not found:
            return after
        self._write_down(found)
        begun = time.monotonic()
        if not self._stop.wait(COALESCE_S / 2):
            more = events.read(found[-1].id)
            self._write_down(more)
            found += more
        if self._watchers:
            self._spread(_marked(self._tell({event.run for event in found}), found[-1].id))
        self._stop.wait(max(0.0, COALESCE_S - (time.monotonic() - begun)))
        return found[-1].id

    def _write_down(self, found: Sequence[Event]) -> None:
        """Count events, and give the log one line each; a log of words leaves them out."""
        self.heard.update((each.kind, each.stage) for each in found)
        if not log.isEnabledFor(logging.INFO):
            return
        for each in found:
            about = {"event": each.kind, "run": each.run, "stage": each.stage}
            about |= {"item": each.item, "worker": each.worker}
            log.info("%s %s %s: %s", each.run, each.stage, each.item, each.kind, extra=about)

    def _tell(self, runs: set[str] | list[str]) -> list[Message]:
        """Return one message a run, as it stands now."""
        messages = []
        for run in sorted(runs):
            if is_wedge(run):
                messages += self._tell_wedge(run)
                continue
            order = self._service.shots.find(run)
            if order is None:
                continue  # a run that was opened by something that keeps no order
            view = show_shot(self._service, order)
            messages.append((order.shot, encode("shot", view.model_dump(mode="json"))))
        return messages

    def _tell_wedge(self, run: str) -> list[Message]:
        shot, _, number = run.rpartition("/w")
        if int(number) not in self._service.wedges.numbers(shot):
            return []  # it was removed for a newer one
        view = show_wedge(self._service, self._service.wedges.order(run))
        return [(shot, encode("wedge", view.model_dump(mode="json")))]

    def _snapshot(self, event_id: str | None) -> bytes:
        return encode("snapshot", {"what": "ask for everything once"}, event_id)

    def _spread(self, messages: Sequence[Message]) -> None:
        if self._loop is None or not messages:
            return
        with suppress(RuntimeError):  # the loop is closing
            self._loop.call_soon_threadsafe(self._offer, messages)

    def _offer(self, messages: Sequence[Message]) -> None:
        snapshot = self._snapshot(None)
        for message in messages:
            for watcher in self._watchers:
                watcher.offer(message, snapshot)
