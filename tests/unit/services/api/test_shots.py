"""Submitting and looking, over HTTP, with a real ledger behind it."""

import json

import httpx
import pytest

from glimsum_jobs.ledger import Cause, Failure, Stage
from support.api_server import Running
from support.api_work import SHOT, wait_for

RUN = "mole_040/v001"
HERE = "/shots/mole_040/versions/1"

# The smallest JPEG start and end markers (ITU-T T.81, B.1.1.3: SOI FFD8, EOI FFD9).
PICTURE = b"\xff\xd8\xff\xd9"


def test_a_new_job_is_created_and_the_same_again_is_found(running: Running) -> None:
    first = running.http.post("/shots", json=SHOT)
    again = running.http.post("/shots", json=SHOT)

    # RFC 9110, 15.3.2: 201 names what was created in Location.
    assert (first.status_code, first.headers["location"]) == (201, HERE)
    assert (again.status_code, again.json()["shots"][0]["new"]) == (200, False)


def test_yaml_is_taken_like_json_and_kept_as_it_was_written(running: Running) -> None:
    text = f"# night two\n{json.dumps(SHOT)}\n"
    answer = running.http.post("/shots", content=text, headers={"Content-Type": "application/yaml"})
    assert answer.status_code == 201
    assert running.http.get(f"{HERE}/job").text == text


def test_a_wrong_job_is_refused_with_all_its_problems(running: Running) -> None:
    wrong = SHOT | {"camera": "fixed", "output": "../x"}
    answer = running.http.post("/shots", content=json.dumps(wrong, indent=1), headers=JSON)

    assert answer.status_code == 422
    first = answer.json()["errors"][0]
    assert (first["where"]["field"], first["where"]["line"]) == ("camera", 5)
    assert (first["seen"], first["expected"]) == ('"fixed"', "'moving' or 'locked'")
    assert running.http.get("/shots").json()["shots"] == []


JSON = {"Content-Type": "application/json"}


def test_relative_paths_are_refused_in_words(running: Running) -> None:
    answer = running.http.post("/shots", json=SHOT | {"output": "mole_040"})
    error = answer.json()["errors"][0]
    assert (answer.status_code, error["where"]["field"]) == (422, "output")
    assert error["expected"].startswith("root:path")


def test_a_list_comes_in_pages_newest_first(running: Running) -> None:
    jobs = [SHOT | {"shot": f"mole_{n:03d}", "output": f"out:mole_{n:03d}"} for n in range(5)]
    assert running.http.post("/shots", json={"jobs": jobs}).status_code == 201

    seen: list[str] = []
    address: str | None = "/shots?limit=2"
    while address:
        answer = running.http.get(address)
        seen += [view["shot"] for view in answer.json()["shots"]]
        address = answer.links.get("next", {}).get("url")
    assert seen == [f"mole_{n:03d}" for n in reversed(range(5))]


def test_changes_make_the_next_version(running: Running) -> None:
    running.http.post("/shots", json=SHOT)
    steps = [{"pass": "beauty"}, {"pass": "haze", "stops": -0.5}]
    answer = running.http.post("/shots/mole_040/versions", json={"recipe": steps})

    assert answer.headers["location"] == "/shots/mole_040/versions/2"
    job = running.service.shots.order("mole_040/v002").job
    assert [(step.pass_name, step.stops) for step in job.steps] == [("beauty", 0.0), ("haze", -0.5)]
    assert running.http.get("/shots/mole_040").json()["versions"] == [1, 2]


def test_a_wrong_change_makes_nothing(running: Running) -> None:
    running.http.post("/shots", json=SHOT)
    answer = running.http.post(
        "/shots/mole_040/versions", json={"recipe": [{"pass": "rain"}, {"pass": "beauty"}]}
    )
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["what"] == "there is no pass or take called rain"
    assert running.http.get("/shots/mole_040").json()["versions"] == [1]


def test_a_sequence_is_taken_whole_and_shown_in_its_order(running: Running) -> None:
    shots = [{"shot": name, "output": f"out:{name}"} for name in ("b_010", "a_020")]
    defaults = {name: value for name, value in SHOT.items() if name not in ("shot", "output")}
    tree = {"glimsum": 1, "sequence": "harbour", "defaults": defaults, "shots": shots}
    answer = running.http.post("/sequences", json=tree)

    assert (answer.status_code, answer.headers["location"]) == (201, "/sequences/harbour")
    view = running.http.get("/sequences/harbour").json()
    assert [each["shot"] for each in view["shots"]] == ["b_010", "a_020"]
    assert (view["total"], view["ended"]) == (2, 0)


def test_a_shot_is_followed_from_checking_to_done(running: Running) -> None:
    running.http.post("/shots", json=SHOT)
    work = running.work
    assert running.http.get(HERE).json()["state"] == "checking"
    work.check(RUN)
    work.solve(RUN)
    work.combine(RUN, PICTURE)
    work.lose(RUN, "haze.0002.png is cut off")
    claim = work.claim(RUN, Stage.COMBINE)

    view = running.http.get(HERE).json()
    assert (view["state"], view["progress"]["frames_done"]) == ("combining", 1)
    assert view["set_aside"] == [{"frame": 1002, "reason": "haze.0002.png is cut off"}]
    assert (view["counts"]["combine"]["working"], view["newest_preview"]) == (1, 1001)
    # 12 frames - 2 at their end = 10 left, at 2 s each in one slot.
    assert view["progress"]["seconds_left"] == 20.0

    work.ledger.give_back(claim)
    for _ in range(10):
        work.combine(RUN)
    work.finish(RUN)
    wait_for(lambda: running.http.get(HERE).json()["ended"] is not None)
    assert running.http.get(HERE).json()["state"] == "done with remarks"


def test_frames_are_listed_in_pages(running: Running) -> None:
    running.http.post("/shots", json=SHOT)
    running.work.check(RUN)
    running.work.solve(RUN)
    running.work.combine(RUN)
    first = running.http.get(f"{HERE}/frames?limit=10").json()
    rest = running.http.get(f"{HERE}/frames?limit=10&after={first['after']}").json()
    frames = [each["frame"] for each in first["frames"] + rest["frames"]]
    assert (frames, rest["after"]) == (list(range(1001, 1013)), None)
    assert [each["state"] for each in first["frames"][:2]] == ["done", "waiting"]


def test_measurements_are_shown(running: Running) -> None:
    running.http.post("/shots", json=SHOT)
    assert running.http.get(f"{HERE}/measurements").json()["revision"] is None
    running.work.check(RUN)
    running.work.solve(RUN)
    assert running.http.get(f"{HERE}/measurements").json()["revision"] == "0" * 64


def test_a_stage_that_fails_says_why(running: Running) -> None:
    running.http.post("/shots", json=SHOT)
    claim = running.work.claim(RUN, Stage.CHECK)
    failure = Failure(cause=Cause.BAD_SOURCE, kind="SourceError", message="the disk is gone")
    running.work.ledger.fail(claim, failure)
    wait_for(lambda: running.http.get(HERE).json()["state"] == "refused")
    problem = running.http.get(HERE).json()["problems"][0]
    assert (problem["what"], problem["seen"]) == ("the stage check failed", "the disk is gone")


def test_problems_of_the_check_are_shown_and_the_shot_is_refused(running: Running) -> None:
    running.http.post("/shots", json=SHOT)
    problem = {"rank": "stops the shot", "what": "haze has no files", "seen": "0 files"}
    running.work.check(RUN, [problem])
    wait_for(lambda: running.http.get(HERE).json()["state"] == "refused")
    assert running.http.get(HERE).json()["problems"][0]["what"] == "haze has no files"


def test_a_repeated_request_is_answered_once(running: Running) -> None:
    # Idempotency-Key as in draft-ietf-httpapi-idempotency-key-header (read from memory).
    headers = {"Idempotency-Key": "night-1"}
    first = running.http.post("/shots", json=SHOT, headers=headers)
    again = running.http.post("/shots", json=SHOT, headers=headers)
    other = running.http.post("/shots", json=SHOT | {"rate": 25}, headers=headers)

    assert (again.status_code, again.json()) == (201, first.json())
    assert (again.headers["location"], again.headers["idempotent-replayed"]) == (HERE, "true")
    assert other.status_code == 422


def test_a_request_that_failed_may_be_repeated_with_its_key(running: Running) -> None:
    headers = {"Idempotency-Key": "night-2"}
    wrong = running.http.post("/shots", json={"shot": "x"}, headers=headers)
    assert wrong.status_code == 422
    assert running.http.post("/shots", json={"shot": "x"}, headers=headers).status_code == 422


@pytest.mark.parametrize("address", ["/readyz", "/workers"])
def test_without_machines_it_is_said(running: Running, address: str) -> None:
    answer: httpx.Response = running.http.get(address)
    if address == "/readyz":
        assert (answer.status_code, answer.headers["retry-after"]) == (503, "5")
        assert answer.json()["errors"][0]["what"] == "no machine works"
    else:
        assert answer.json() == {"workers": []}


def test_figures_are_text(running: Running) -> None:
    running.http.post("/shots", json=SHOT)
    lines = running.http.get("/metrics").text.splitlines()
    assert "glimsum_open_runs 1" in lines
    assert 'glimsum_items{state="waiting"} 1' in lines
    running.work.check(RUN)
    done = 'glimsum_events_total{kind="done",stage="check"} 1'
    wait_for(lambda: done in running.http.get("/metrics").text)


def test_the_schema_is_the_one_of_the_format(running: Running) -> None:
    from glimsum_jobs.reading import shot_schema

    assert running.http.get("/schema").json() == json.loads(json.dumps(shot_schema()))
