"""Saying what is wanted of a version, and trying frames again."""

import json
from concurrent.futures import ThreadPoolExecutor

import httpx

from glimsum_jobs.ledger import RunState
from support.api_server import Running
from support.api_work import SHOT, wait_for

RUN = "mole_040/v001"
HERE = "/shots/mole_040/versions/1"


def test_control_needs_to_know_what_it_changes(running: Running) -> None:
    running.http.post("/shots", json=SHOT)
    etag = running.http.get(f"{HERE}/control").headers["etag"]
    address, pause = f"{HERE}/control", {"state": "pause"}

    # RFC 6585, 3: 428 without a condition; RFC 9110, 13.1.1: 412 when it does not hold.
    assert running.http.put(address, json=pause).status_code == 428
    stale = running.http.put(address, json=pause, headers={"If-Match": '"pause-1"'})
    assert (stale.status_code, stale.json()["errors"][0]["expected"]) == (412, etag)
    paused = running.http.put(address, json=pause, headers={"If-Match": etag})
    assert (paused.status_code, paused.json()["standing"]) == (200, "paused")
    assert running.work.ledger.claim("test/1", RUN) is None
    urgent = {"state": "run", "priority": 90}
    again = running.http.put(address, json=urgent, headers={"If-Match": paused.headers["etag"]})
    told = again.json()
    assert (told["state"], told["priority"], told["standing"]) == ("run", 90, "checking")


def test_hours_are_asked_in_the_service_s_time_zone_and_kept_as_asked(running: Running) -> None:
    running.http.post("/shots", json=SHOT)
    address, headers = f"{HERE}/control", {"If-Match": "*"}

    asked = {"window": "22:00-06:00", "not_before": "2027-01-05T22:30+01:00"}
    answer = running.http.put(address, json=asked, headers=headers)

    told = answer.json()
    assert (told["window"], told["time_zone"]) == ("22:00-06:00", "UTC")
    assert told["not_before"] == "2027-01-05T21:30:00.000Z"
    assert (told["state"], told["priority"]) == ("run", 50)
    record = running.work.ledger.record(RUN)
    assert record is not None
    assert record.hours.window == (22 * 60, 6 * 60 - 1)
    etag = answer.headers["etag"]
    always = {"window": "always", "not_before": "always"}
    answer = running.http.put(address, json=always, headers={"If-Match": etag})
    assert (answer.json()["window"], answer.json()["not_before"]) == (None, None)
    wrong = running.http.put(address, json={"window": "ten to six"}, headers=headers)
    assert wrong.status_code == 422
    assert wrong.json()["errors"][0]["seen"] == "ten to six"


def test_what_every_machine_lacks_is_told(running: Running) -> None:
    running.http.post("/shots", json=SHOT)
    running.work.ledger.hold(RUN, "room: 0.50 GB free on the disk of the root out")

    told = running.http.get(f"{HERE}/control").json()

    assert (told["state"], told["standing"]) == ("run", "paused")
    assert told["waits_for"] == "room: 0.50 GB free on the disk of the root out"
    assert running.http.get(HERE).json()["reason"] == told["waits_for"]


def test_what_has_ended_can_not_be_controlled(running: Running) -> None:
    running.http.post("/shots", json=SHOT)
    headers = {"If-Match": "*"}
    running.http.put(f"{HERE}/control", json={"state": "cancel"}, headers=headers)
    wait_for(lambda: running.http.get(HERE).json()["state"] == "cancelled")
    running.work.ledger.end(RUN, RunState.CANCELLED)
    answer = running.http.put(f"{HERE}/control", json={"state": "run"}, headers=headers)
    assert (answer.status_code, answer.json()["detail"]) == (409, f"{RUN} has ended")


def test_frames_set_aside_are_tried_again(running: Running) -> None:
    running.http.post("/shots", json=SHOT)
    assert running.http.post(f"{HERE}/retry").status_code == 409
    running.work.check(RUN)
    running.work.solve(RUN)
    frame = running.work.lose(RUN, "cut off")
    assert running.http.post(f"{HERE}/retry").json() == {"retried": 1}
    assert running.http.get(HERE).json()["set_aside"] == []
    assert {running.work.combine(RUN) for _ in range(12)} >= {frame}


def test_of_two_who_saw_the_same_only_one_is_heard(running: Running) -> None:
    running.http.post("/shots", json=SHOT)
    address = f"{HERE}/control"
    for urgent in range(10, 20):
        etag = running.http.get(address).headers["etag"]

        def put(priority: int, etag: str = etag) -> int:
            with httpx.Client(base_url=running.url, trust_env=False) as other:
                asked, headers = {"priority": priority}, {"If-Match": etag}
                return other.put(address, json=asked, headers=headers).status_code

        with ThreadPoolExecutor(2) as both:
            assert sorted(both.map(put, (urgent, 100 - urgent))) == [200, 412]


def test_wishes_said_at_once_all_lie_on_the_disk(running: Running) -> None:
    running.http.post("/shots", json=SHOT)
    wishes = running.work.out / "mole_040" / "v001" / "wishes.json"

    def put(asked: dict[str, object]) -> int:
        with httpx.Client(base_url=running.url, trust_env=False) as other:
            headers = {"If-Match": "*"}
            return other.put(f"{HERE}/control", json=asked, headers=headers).status_code

    for urgent in range(10, 20):
        asked = ({"state": "pause"}, {"priority": urgent}, {"window": "22:00-06:00"})
        with ThreadPoolExecutor(3) as several:
            assert list(several.map(put, asked)) == [200] * 3
        told = json.loads(wishes.read_text())
        assert (told["control"], told["priority"]) == ("pause", urgent)
        assert told["hours"]["wall"] == "22:00-06:00"
        put({"state": "run", "window": "always"})
