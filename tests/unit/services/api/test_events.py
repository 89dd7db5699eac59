"""The streams: each change once, in short order, resumed where it was left."""

import json
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import pytest

from glimsum_jobs.ledger import Control
from glimsum_jobs.orders import RunOrder
from glimsum_services.api import watch
from glimsum_services.api.service import Service
from glimsum_services.api.views import ShotView, show_shot
from glimsum_services.api.watch import MOST_WAITING, Watcher, encode
from glimsum_services.store.events import MOST_READ
from support.api_server import Running
from support.api_work import SHOT

RUN = "mole_040/v001"


class Stream:
    """Reads server-sent events by the rules of the HTML Living Standard, 9.2.6."""

    def __init__(self, lines: Iterator[str]) -> None:
        self._lines = lines
        self.last = ""

    def next(self) -> tuple[str, dict[str, Any]]:
        kind, data = "message", ""
        for line in self._lines:
            name, _, value = line.partition(":")
            value = value.removeprefix(" ")
            if name == "id":
                self.last = value
            elif name == "event":
                kind = value
            elif name == "data":
                data += value
            elif line == "" and data:
                return kind, json.loads(data)
        raise AssertionError("the stream ended")

    def until(self, state: str) -> list[dict[str, Any]]:
        """Return the views up to the first in `state`."""
        views = []
        while True:
            kind, data = self.next()
            if kind == "shot":
                views.append(data)
                if data["state"] == state:
                    return views


@contextmanager
def following(running: Running, address: str, **headers: str) -> Iterator[Stream]:
    with running.http.stream("GET", address, headers=headers, timeout=20) as answer:
        assert answer.status_code == 200
        assert answer.headers["content-type"].startswith("text/event-stream")
        yield Stream(answer.iter_lines())


def submit(running: Running, shot: str) -> None:
    running.http.post("/shots", json={**SHOT, "shot": shot, "output": f"out:{shot}"})


def test_a_new_watcher_is_told_to_ask_for_everything_and_then_hears_each_change(
    running: Running,
) -> None:
    with following(running, "/events") as stream:
        assert stream.next()[0] == "snapshot"
        running.http.post("/shots", json=SHOT)
        assert stream.until("checking")[-1]["shot"] == "mole_040"
        running.work.check(RUN)
        running.work.solve(RUN)
        assert stream.until("combining")[-1]["counts"]["combine"]["waiting"] == 12


def test_a_run_is_told_about_at_most_four_times_a_second(running: Running) -> None:
    running.http.post("/shots", json=SHOT)
    running.work.check(RUN)
    running.work.solve(RUN)
    with following(running, "/events") as stream:
        stream.next()
        begun = time.monotonic()
        for _ in range(12):
            running.work.combine(RUN)
            time.sleep(0.02)
        running.work.finish(RUN)
        views = stream.until("done")
        took = time.monotonic() - begun
    assert len(views) <= took * 4 + 2
    assert views[-1]["progress"]["share"] == 1.0


def test_a_stream_goes_on_where_it_was_left(running: Running) -> None:
    with following(running, "/events") as stream:
        stream.next()
        running.http.post("/shots", json=SHOT)
        stream.until("checking")
        last = stream.last
    running.work.check(RUN)
    running.work.solve(RUN)
    running.work.combine(RUN)
    with following(running, "/events", **{"Last-Event-ID": last}) as stream:
        kind, view = stream.next()
    assert (kind, view["state"]) == ("shot", "combining")
    assert view["progress"]["frames_done"] == 1


@pytest.mark.parametrize("last", ["other-1-0", "nonsense", "0-0"])
def test_an_id_of_another_ledger_gets_a_snapshot(running: Running, last: str) -> None:
    with following(running, "/events", **{"Last-Event-ID": last}) as stream:
        assert stream.next()[0] == "snapshot"


def test_one_shot_is_followed_alone(running: Running) -> None:
    other = SHOT | {"shot": "mole_050", "output": "out:mole_050"}
    running.http.post("/shots", json={"jobs": [SHOT, other]})
    with following(running, "/shots/mole_040/events") as stream:
        stream.next()
        running.work.check("mole_050/v001")
        running.work.solve("mole_050/v001")
        running.work.check(RUN)
        running.work.solve(RUN)
        views = stream.until("combining")
    assert {view["shot"] for view in views} == {"mole_040"}


def test_a_slow_watcher_gets_one_snapshot_in_the_place_of_what_it_missed() -> None:
    watcher = Watcher(None)
    for number in range(MOST_WAITING + 1):
        watcher.offer(("a", encode("shot", {"n": number})), b"snapshot")
    assert watcher.queue.qsize() == 1
    assert watcher.queue.get_nowait() == b"snapshot"


def test_a_line_end_in_a_text_does_not_end_an_event() -> None:
    assert (
        encode("shot", {"a": "x\n\ny"}, "e-1")
        == b'id: e-1\nevent: shot\ndata: {"a":"x\\n\\ny"}\n\n'
    )


def test_a_reader_who_missed_more_than_one_read_holds_asks_for_everything(
    running: Running,
) -> None:
    running.http.post("/shots", json=SHOT)
    last = running.service.events.newest()
    for _ in range(MOST_READ // 2 + 1):  # each call is an event
        running.service.ledger.control(RUN, Control.PAUSE)
        running.service.ledger.control(RUN, Control.RUN)

    with following(running, "/events", **{"Last-Event-ID": last}) as stream:
        assert stream.next()[0] == "snapshot"


def test_a_line_that_breaks_between_messages_of_one_moment_loses_none(running: Running) -> None:
    last = running.service.events.newest()
    names = ("mole_050", "mole_060", "mole_070")
    for name in names:
        submit(running, name)

    seen = []
    for _ in range(2):  # the line breaks behind the first message each time
        with following(running, "/events", **{"Last-Event-ID": last}) as stream:
            seen.append(stream.next()[1]["shot"])
            last = stream.last or last
    with following(running, "/events", **{"Last-Event-ID": last}) as stream:
        seen += [stream.next()[1]["shot"] for _ in names]

    assert set(seen) == set(names)


def test_what_happens_while_a_reader_is_told_the_rest_is_told_too(
    running: Running, monkeypatch: pytest.MonkeyPatch
) -> None:
    running.http.post("/shots", json=SHOT)
    last = running.service.events.newest()
    running.work.check(RUN)
    told = threading.Event()
    spread = watch.Watch._spread

    def hand_out(self: watch.Watch, messages: Sequence[watch.Message]) -> None:
        spread(self, messages)
        if any(shot == "mole_050" for shot, _ in messages):
            told.set()

    def show(service: Service, order: RunOrder) -> ShotView:
        if threading.current_thread().name != "watch" and not told.is_set():
            # The others hear of the next shot before this reader listens.
            submit(running, "mole_050")
            assert told.wait(10)
        return show_shot(service, order)

    monkeypatch.setattr(watch.Watch, "_spread", hand_out)
    with following(running, "/events") as other:
        assert other.next()[0] == "snapshot"
        monkeypatch.setattr(watch, "show_shot", show)
        with following(running, "/events", **{"Last-Event-ID": last}) as stream:
            assert told.is_set()
            submit(running, "mole_060")
            heard = []
            while "mole_060" not in heard:
                heard.append(stream.next()[1]["shot"])

    assert heard[0] == "mole_040"
    assert "mole_050" in heard
