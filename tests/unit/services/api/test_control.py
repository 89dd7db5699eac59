"""Saying what is wanted of a version, and trying frames again."""

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
    assert again.json() == {"state": "run", "priority": 90, "standing": "checking"}


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
