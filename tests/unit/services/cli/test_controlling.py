"""What is wanted of runs, said on the command line."""

import json

import httpx
import pytest
from typer.testing import CliRunner

from glimsum_services.cli import controlling
from glimsum_services.cli.program import make_app
from glimsum_services.client import Client

SHOWN = {
    "shot": "mole_040",
    "version": 3,
    "state": "combining",
    "stage": "combine",
    "reason": "",
    "progress": {
        "frames_done": 5,
        "frames_total": 8,
        "frames_set_aside": 1,
        "frames_a_minute": None,
        "seconds_left": None,
    },
}


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[tuple[str, str, object]]:
    calls: list[tuple[str, str, object]] = []

    def answer(request: httpx.Request) -> httpx.Response:
        sent = json.loads(request.content) if request.content else None
        calls.append((request.method, request.url.path, sent))
        if request.url.path.endswith("/retry"):
            return httpx.Response(200, json={"retried": 2})
        return httpx.Response(200, json=SHOWN)

    def reach(address: str) -> Client:
        return Client(address, httpx.MockTransport(answer))

    monkeypatch.setattr(controlling, "reach", reach)
    return calls


HERE = "/shots/mole_040/versions/003"


def run(*words: str) -> str:
    result = CliRunner().invoke(make_app(), list(words))
    assert result.exit_code == 0, result.output
    return result.output


def test_resume_says_when_and_how_urgently(asked: list[tuple[str, str, object]]) -> None:
    words = ("--priority", "90", "--window", "22:00-06:00", "--not-before", "22:30")

    told = run("resume", "mole_040/v003", *words)

    wishes = {"state": "run", "priority": 90, "not_before": "22:30", "window": "22:00-06:00"}
    assert ("PUT", f"{HERE}/control", wishes) in asked
    assert told == "mole_040/v003  combining  5 of 8 frames, 1 set aside\n"


@pytest.mark.parametrize("word", ["pause", "cancel"])
def test_what_is_not_said_is_not_sent(asked: list[tuple[str, str, object]], word: str) -> None:
    run(word, "mole_040/v003")

    assert ("PUT", f"{HERE}/control", {"state": word}) in asked


def test_retry_tells_how_many_frames_wait_again(asked: list[tuple[str, str, object]]) -> None:
    assert run("retry", "mole_040") == "mole_040/v003  combining  2 frames wait again\n"

    assert ("POST", f"{HERE}/retry", None) in asked
    told = json.loads(run("retry", "mole_040", "--json"))
    assert [(each["run"], each["retried"]) for each in told["runs"]] == [("mole_040/v003", 2)]
