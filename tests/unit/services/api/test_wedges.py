"""Wedges over HTTP: asked for, refused with every reason, listed, controlled, taken."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from glimsum_jobs.ledger import Cause, Failure, Stage
from glimsum_jobs.orders import WedgeOrder
from glimsum_services.api import wedges
from glimsum_services.api.service import Service
from glimsum_services.api.wedge_views import WedgeView, show_wedge
from glimsum_services.store.keys import Keys
from glimsum_services.tokens import Scope, Tokens
from glimsum_services.wedge_desk import MOST_KEPT
from support.api_server import Running, running_service
from support.api_work import SHOT, wait_for
from unit.services.api.test_error_shape import hold_shape

ASKED: dict[str, Any] = {
    "shot": "mole_040",
    "frames": [1004, 1008],
    "varied": [{"name": "haze", "values": [-1, 0, "out"]}],
}
# The markers a JPEG begins and ends with (ITU-T T.81, B.1.1.3: SOI FFD8, EOI FFD9).
PICTURE = b"\xff\xd8\xff\xd9"


def ask(running: Running, **changes: Any) -> dict[str, Any]:
    answer = running.http.post("/wedges", json=ASKED | changes)
    assert answer.status_code == 201, answer.text
    told: dict[str, Any] = answer.json()
    return told


def make(running: Running, told: dict[str, Any], problems: tuple[Any, ...] = ()) -> None:
    """Do what a worker does, without making pictures."""
    claim = running.work.claim(told["run"], Stage.WEDGE)
    folder = running.work.out / "mole_040" / "wedges" / told["id"].rpartition(".")[2]
    name = f"mole_040_{folder.name}.jpg"
    (folder / name).write_bytes(PICTURE)
    left = {"digest": "d", "sheet": name, "bytes": 4, "seconds": 1.5, "problems": list(problems)}
    running.work.ledger.done(claim, left)
    wait_for(lambda: running.http.get(told["links"]["self"]).json()["ended"] is not None)


@pytest.fixture
def shot(running: Running) -> Running:
    assert running.http.post("/shots", json=SHOT).status_code == 201
    return running


def test_a_wedge_lies_on_disk_and_stands_in_the_ledger_before_the_answer(shot: Running) -> None:
    answer = shot.http.post("/wedges", json=ASKED | {"width": 200})

    told = answer.json()
    assert (answer.status_code, answer.headers["location"]) == (201, "/wedges/mole_040.w001")
    assert (told["state"], told["version"], told["width"]) == ("waiting", 1, 200)
    assert (told["wedge"], told["problems"]) == (None, [])
    assert "sheet" not in told["links"]
    order = json.loads((shot.work.out / "mole_040" / "wedges" / "w001" / "order.json").read_text())
    assert (order["run"], order["frames"]) == ("mole_040/w001", [1004, 1008])
    record = shot.work.ledger.record("mole_040/w001")
    assert record is not None
    assert (record.priority, record.stage) == (100, Stage.WEDGE)
    assert shot.http.get(told["links"]["self"]).json() == told


def test_a_finished_wedge_shows_its_sheet_and_what_each_cell_is(shot: Running) -> None:
    told = ask(shot)
    remark = {"rank": "remark", "what": "haze clips", "place": {"pass_name": "haze"}}
    make(shot, told, (remark,))

    shown = shot.http.get("/wedges/mole_040.w001").json()
    sheet = shot.http.get(shown["links"]["sheet"])

    assert (shown["state"], shown["seconds"]) == ("done with remarks", 1.5)
    assert shown["problems"][0]["where"] == {"pass": "haze"}
    cells = shown["wedge"]["cells"]
    assert [each["words"] for each in cells] == ["haze -1 stops", "haze 0 stops", "haze out"]
    assert [each["as_it_is"] for each in cells] == [False, True, False]
    assert (sheet.content, sheet.headers["content-type"]) == (PICTURE, "image/jpeg")
    # RFC 9110, 13.1.2: If-None-Match with the same ETag is answered by 304.
    same = {"If-None-Match": sheet.headers["etag"]}
    assert shot.http.get(shown["links"]["sheet"], headers=same).status_code == 304


def test_the_same_key_asks_once(shot: Running) -> None:
    headers = {"Idempotency-Key": "k"}
    first = shot.http.post("/wedges", json=ASKED, headers=headers)
    again = shot.http.post("/wedges", json=ASKED, headers=headers)
    other = shot.http.post("/wedges", json=ASKED | {"width": 99}, headers=headers)

    assert first.json() == again.json()
    assert again.headers["idempotent-replayed"] == "true"
    assert other.status_code == 422
    assert len(shot.http.get("/wedges?shot=mole_040").json()["wedges"]) == 1


def test_a_cell_becomes_the_next_version_of_the_wedge_s_own(shot: Running) -> None:
    told = ask(shot)
    early = shot.http.post("/wedges/mole_040.w001/pick", json={"cell": 1})
    assert hold_shape(early, 409).errors[0].seen == "waiting"
    make(shot, told)
    shot.http.post("/shots/mole_040/versions", json={"rate": 25})  # a later version, another job

    taken = shot.http.post("/wedges/mole_040.w001/pick", json={"cell": 3})

    assert taken.status_code == 201
    assert taken.headers["location"] == "/shots/mole_040/versions/3"
    assert taken.json()["changes"] == ["haze out (was 0)"]
    shown = shot.http.get("/shots/mole_040/versions/3").json()
    assert (shown["earlier"], shown["wedges"]) == (1, 1)
    again = shot.http.post("/wedges/mole_040.w001/pick", json={"cell": 3})
    assert (again.status_code, again.json()["shots"][0]["version"]) == (200, 3)
    for cell, what in ((2, "this cell is the job as it is"), (9, "there is no such cell")):
        wrong = shot.http.post("/wedges/mole_040.w001/pick", json={"cell": cell})
        assert hold_shape(wrong, 422).errors[0].what == what


def test_a_version_that_is_another_by_now_gets_no_cell(shot: Running) -> None:
    make(shot, ask(shot))
    shot.http.post("/shots/mole_040/versions", json={"rate": 25})
    key, client = Keys().versions("mole_040"), shot.service.client
    other = json.loads(str(client.hget(key, "2"))) | {"run": "mole_040/v001", "version": 1}
    client.hset(key, "1", json.dumps(other))  # as after a lost ledger and a removed folder
    shot.service.shots._known.clear()

    answer = shot.http.post("/wedges/mole_040.w001/pick", json={"cell": 1})

    error = hold_shape(answer, 409).errors[0]
    assert "is not the one this wedge was made of" in error.what
    assert error.remedy == "Ask for the wedge again."


def test_a_refused_wedge_says_why_and_a_failed_one_too(shot: Running) -> None:
    first, second = ask(shot), ask(shot)
    problem = {"rank": "stops the shot", "what": "files are missing", "seen": "none"}
    left = {"digest": "", "sheet": None, "bytes": 0, "seconds": 1, "problems": [problem]}
    shot.work.ledger.done(shot.work.claim(first["run"], Stage.WEDGE), left)
    failure = Failure(cause=Cause.BAD_SOURCE, kind="SourceError", message="cut off", files=("f",))
    shot.work.ledger.fail(shot.work.claim(second["run"], Stage.WEDGE), failure)

    for told, seen in ((first, "none"), (second, "cut off")):
        address = told["links"]["self"]
        wait_for(lambda at=address: shot.http.get(at).json()["state"] == "refused")  # type: ignore[misc]  # bound now
        shown = shot.http.get(address).json()
        assert (shown["problems"][0]["seen"], shown["wedge"]) == (seen, None)
        assert "sheet" not in shown["links"]
    assert shown["problems"][0]["where"] == {"shot": "mole_040", "file": "f"}


def test_a_wedge_is_paused_and_cancelled_as_a_version_is(shot: Running) -> None:
    address = ask(shot)["links"]["control"]
    etag = shot.http.get(address).headers["etag"]

    paused = shot.http.put(address, json={"state": "pause"}, headers={"If-Match": etag})
    assert (paused.status_code, paused.json()["standing"]) == (200, "paused")
    assert shot.work.ledger.claim("m/1", "mole_040/w001") is None
    ended = shot.http.put(address, json={"state": "cancel"}, headers={"If-Match": "*"})
    assert ended.json()["standing"] == "cancelled"
    late = shot.http.put(address, json={"state": "run"}, headers={"If-Match": "*"})
    assert hold_shape(late, 409).detail == "mole_040/w001 has ended"


@pytest.mark.parametrize("hours", [{"not_before": "23:00"}, {"window": "22:00-06:00"}])
def test_a_wedge_keeps_no_hours_that_others_would_wait_behind(
    shot: Running, hours: dict[str, str]
) -> None:
    address = ask(shot)["links"]["control"]

    refused = shot.http.put(address, json=hours, headers={"If-Match": "*"})

    told = hold_shape(refused, 422)
    assert told.detail == "mole_040/w001 is a wedge and keeps no hours"
    assert told.errors[0].seen == next(iter(hours.values()))
    always = shot.http.put(address, json={"window": "always"}, headers={"If-Match": "*"})
    assert always.status_code == 200


def test_wedges_are_no_versions_and_not_in_the_night_report(shot: Running) -> None:
    ask(shot)

    assert shot.http.get("/shots/mole_040").json()["versions"] == [1]
    assert [each["shot"] for each in shot.http.get("/shots").json()["shots"]] == ["mole_040"]
    report = shot.http.get("/report").json()
    assert [each["run"] for each in report["shots"]] == ["mole_040/v001"]
    assert shot.http.get("/report?name=mole_040/w001").status_code == 404
    lines = shot.http.get("/metrics").text.splitlines()
    assert "glimsum_open_runs 1" in lines
    assert "glimsum_open_wedges 1" in lines


def test_the_list_is_newest_first_and_goes_on_where_it_ended(shot: Running) -> None:
    ids = [ask(shot)["id"] for _ in range(5)]

    first = shot.http.get("/wedges?shot=mole_040&limit=3").json()
    second = shot.http.get(f"/wedges?shot=mole_040&limit=3&after={first['after']}").json()

    assert [each["id"] for each in first["wedges"] + second["wedges"]] == ids[::-1]
    assert second["after"] is None


def test_the_oldest_that_ended_go_and_no_number_is_given_twice(shot: Running) -> None:
    ledger, out = shot.work.ledger, shot.work.out / "mole_040" / "wedges"
    told = [ask(shot) for _ in range(MOST_KEPT)]
    full = shot.http.post("/wedges", json=ASKED)
    assert hold_shape(full, 422).errors[0].what == "too many wedges of this shot wait"
    for each in (told[1], told[-1]):
        make(shot, each)

    newest = ask(shot)

    assert newest["run"] == f"mole_040/w{MOST_KEPT + 1:03d}"
    assert shot.http.get(told[1]["links"]["self"]).status_code == 404
    assert not (out / "w002").exists()
    assert ledger.record("mole_040/w002") is None
    assert not list(shot.service.client.scan_iter("*w002*"))
    assert shot.http.get(told[-1]["links"]["self"]).status_code == 200
    assert len(shot.service.wedges.numbers("mole_040")) == MOST_KEPT


def test_watchers_hear_of_a_wedge(shot: Running) -> None:
    with shot.http.stream("GET", "/shots/mole_040/events") as stream:
        lines = stream.iter_lines()
        ask(shot)
        kinds, told = [], {}
        for line in lines:
            if line.startswith("event:"):
                kinds.append(line[7:])
            if line.startswith("data:") and kinds[-1] == "wedge":
                told = json.loads(line[6:])
                break

    assert (told["id"], told["state"]) == ("mole_040.w001", "waiting")


@pytest.fixture
def guarded(broker: str, tmp_path: Path) -> Iterator[Running]:
    with running_service(broker, tmp_path, host="0.0.0.0") as service:  # noqa: S104  # not bound
        yield service


def test_a_token_of_other_shots_asks_for_no_wedge_and_takes_no_cell(guarded: Running) -> None:
    def token(*shots: str) -> dict[str, str]:
        _, text = Tokens(guarded.work.out.parent).make("test", list(Scope), shots)
        return {"Authorization": f"Bearer {text}"}

    everyone, mine = token(), token("quay_")
    guarded.http.post("/shots", json=SHOT, headers=everyone)
    assert guarded.http.post("/wedges", json=ASKED, headers=everyone).status_code == 201
    here = "/wedges/mole_040.w001"
    for method, address, body in (
        ("POST", "/wedges", ASKED),
        ("POST", f"{here}/pick", {"cell": 1}),
        ("PUT", f"{here}/control", {"state": "cancel"}),
    ):
        refused = guarded.http.request(method, address, json=body, headers=mine)
        assert hold_shape(refused, 403).errors[0].seen == "mole_040"


def test_a_wedge_that_goes_while_it_is_listed_is_left_out(
    shot: Running, monkeypatch: pytest.MonkeyPatch
) -> None:
    for _ in range(3):
        make(shot, ask(shot))

    def show(service: Service, order: WedgeOrder) -> WedgeView:
        if order.wedge == 2:  # another makes room just now
            shot.service.wedges.forget("mole_040", 1)
        return show_wedge(service, order)

    monkeypatch.setattr(wedges, "show_wedge", show)
    answer = shot.http.get("/wedges", params={"shot": "mole_040"})

    assert answer.status_code == 200
    assert [each["run"] for each in answer.json()["wedges"]] == ["mole_040/w003", "mole_040/w002"]
