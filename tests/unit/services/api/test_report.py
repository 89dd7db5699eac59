"""The night report over HTTP: which runs it holds, and what it answers to nonsense."""

import time
from datetime import UTC, datetime

import pytest

from support.api_server import Running
from support.api_work import SHOT

RUN = "mole_040/v001"


def at(seconds_ago: float) -> str:
    return datetime.fromtimestamp(time.time() - seconds_ago, UTC).isoformat()


def submit(running: Running, *names: str) -> None:
    for name in names:
        tree = {**SHOT, "shot": name, "output": f"out:{name}"}
        running.http.post("/shots", json=tree).raise_for_status()


def runs_of(running: Running, **asked: str) -> list[str]:
    answer = running.http.get("/report", params=asked)
    assert answer.status_code == 200, answer.text
    return [shot["run"] for shot in answer.json()["shots"]]


def test_a_run_that_ended_before_is_left_out_and_one_at_work_never(running: Running) -> None:
    submit(running, "old", "new")
    running.service.ledger.end("old/v001", "done")  # type: ignore[arg-type]  # by its word
    running.service.client.hset("glimsum:run:old/v001", "ended", str(time.time() - 7200))
    running.service.client.hset("glimsum:run:new/v001", "begun", str(time.time() - 90_000))
    assert runs_of(running, since=at(3600)) == ["new/v001"]
    assert set(runs_of(running, since=at(10_000))) == {"old/v001", "new/v001"}
    assert set(runs_of(running)) == {"old/v001", "new/v001"}


def test_a_name_is_a_shot_a_version_or_a_sequence(running: Running) -> None:
    submit(running, "a", "b")
    running.http.post("/shots/a/versions", json={"rate": 25}).raise_for_status()
    shots = [{**SHOT, "shot": name, "output": f"out:{name}"} for name in ("c", "d")]
    body = {"glimsum": 1, "sequence": "mole", "shots": shots}
    running.http.post("/sequences", json=body).raise_for_status()
    assert runs_of(running, name="a") == ["a/v002"]
    assert runs_of(running, name="a/v001") == ["a/v001"]
    assert runs_of(running, name="mole") == ["c/v001", "d/v001"]
    assert len(runs_of(running)) == 5
    one = running.http.get("/shots/a/versions/1/report").json()
    assert [shot["run"] for shot in one["shots"]] == ["a/v001"]


@pytest.mark.parametrize("name", ["gone", "gone/v001", "a/v000", "../v001", "a b\u00e4"])
def test_an_unknown_name_is_refused_in_words(running: Running, name: str) -> None:
    answer = running.http.get("/report", params={"name": name})
    assert answer.status_code == 404
    assert answer.json()["errors"][0]["seen"] == name


@pytest.mark.parametrize("since", ["yesterday", "2026-01-05T22:00", "", "12h"])
def test_a_time_without_its_offset_is_refused(running: Running, since: str) -> None:
    answer = running.http.get("/report", params={"since": since})
    assert (answer.status_code, answer.headers["content-type"]) == (
        422,
        "application/problem+json",
    )


@pytest.mark.parametrize("since", ["0001-01-01T00:00:00Z", "9999-12-31T23:59:59Z"])
def test_times_at_the_ends_of_the_calendar_harm_nothing(running: Running, since: str) -> None:
    submit(running, "a")
    assert runs_of(running, since=since) == ["a/v001"]


def test_trouble_stands_before_what_is_well(running: Running) -> None:
    submit(running, "ill", "well")
    running.work.check("ill/v001", [{"rank": "stops the shot", "what": "no files", "remedy": ""}])
    answer = running.http.get("/report").json()
    deadline = time.monotonic() + 5
    while answer["totals"]["refused"] == 0 and time.monotonic() < deadline:
        answer = running.http.get("/report").json()
    assert [shot["run"] for shot in answer["shots"]] == ["ill/v001", "well/v001"]
    assert [(m["kind"], m["run"]) for m in answer["first"]] == [
        ("machines", ""),
        ("refused", "ill/v001"),
    ]


def test_more_versions_than_a_report_holds_are_counted(
    running: Running, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("glimsum_services.report.night.MOST_RUNS", 2)
    submit(running, "a", "b", "c")
    running.http.put(
        "/shots/a/versions/1/control", json={"state": "cancel"}, headers={"If-Match": "*"}
    ).raise_for_status()
    answer = running.http.get("/report").json()
    assert (len(answer["shots"]), answer["more_shots"]) == (2, 1)
    assert answer["shots"][0]["run"] == "a/v001"
    assert answer["notes"] == [
        "1 more versions are not in this report, 0 of them in trouble; name a shot or a sequence "
        "to see it"
    ]
