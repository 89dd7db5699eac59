"""Following runs: by the stream, without it, and what is shown of them."""

import json
from collections.abc import Iterator

import httpx
import pytest

from glimsum_jobs.errors import JobError
from glimsum_jobs.ledger import RunState
from glimsum_jobs.shot import ShotJob
from glimsum_services import run_stream
from glimsum_services.cli.following import JsonLines, LiveTable, PlainLines
from glimsum_services.client import Client
from glimsum_services.run_stream import follow_runs
from glimsum_services.run_view import RunView, time_words
from glimsum_services.service_errors import ServiceAway, ServiceFailed
from support.api_work import SHOT
from unit.services.cli.conftest import Standing

RUN = "mole_040/v001"


class WithoutStream(httpx.HTTPTransport):
    """A way to the service on which streams are refused, as some proxies do."""

    def handle_request(self, request: httpx.Request) -> httpx.Response:
        if request.url.path.endswith("/events"):
            return httpx.Response(502, text="no streams here")
        return super().handle_request(request)


@pytest.fixture
def client(service: Standing) -> Iterator[Client]:
    with Client(service.address) as client:
        client.submit([ShotJob.model_validate(SHOT)])
        yield client


def test_changes_come_by_the_stream_without_asking(
    service: Standing, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(run_stream, "POLL_S", 1e6)  # asking again would hang the test
    seen = follow_runs(client, [RUN])
    assert next(seen)[0].state is RunState.CHECKING
    assert next(seen)[0].state is RunState.CHECKING  # the stream is open: asked once more
    service.work.check(RUN, [_stops_the_shot()])

    states = [runs[0].state for runs in seen]

    assert states[-1] is RunState.REFUSED


def test_without_a_stream_the_service_is_asked(
    service: Standing, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(run_stream, "POLL_S", 0.05)
    with Client(service.address, WithoutStream()) as plain:
        seen = follow_runs(plain, [RUN])
        assert next(seen)[0].state is RunState.CHECKING
        service.work.check(RUN, [_stops_the_shot()])

        states = [runs[0].state for runs in seen]

    assert states[-1] is RunState.REFUSED


def test_a_service_that_stays_away_ends_the_following(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(run_stream, "POLL_S", 0.01)
    gone = Client("http://127.0.0.1:9")  # port 9: discard, RFC 863; nobody listens

    with gone, pytest.raises(ServiceAway, match=r"no service answers.*http://127\.0\.0\.1:9"):
        list(follow_runs(gone, [RUN], patience_s=0.05))


def test_a_stranger_at_the_address_is_told_from_the_service() -> None:
    page = httpx.MockTransport(lambda _: httpx.Response(200, html="<h1>It works</h1>"))

    with (
        Client("http://127.0.0.1:80", page) as client,
        pytest.raises(ServiceFailed, match=r"status 200, text/html.*expected: the JSON"),
    ):
        client.view(RUN)


def test_what_the_service_refuses_arrives_with_all_its_problems(client: Client) -> None:
    wrong = ShotJob.model_validate({**SHOT, "shot": "mole_050", "output": "nowhere:mole_050"})

    with pytest.raises(JobError) as refused:
        client.submit([wrong])

    problem = refused.value.problems[0]
    assert (problem.seen, problem.place.field) == ("nowhere", "output")
    assert "out, plates" in problem.expected


VIEW = RunView(
    run=RUN,
    state=RunState.COMBINING,
    stage="combine",
    done=5,
    total=12,
    set_aside=1,
    frames_a_minute=42.25,
    seconds_left=8.4,
)


def test_a_line_tells_frames_pace_and_time_left(capsys: pytest.CaptureFixture[str]) -> None:
    view = PlainLines()

    view.show([VIEW])
    view.show([VIEW])

    expected = f"{RUN}  combining  5 of 12 frames, 1 set aside, 42.2 a minute, about 8 s left\n"
    assert expected == capsys.readouterr().out


def test_machines_get_a_line_a_change(capsys: pytest.CaptureFixture[str]) -> None:
    view = JsonLines()

    view.show([VIEW])
    view.show([VIEW])
    view.show([VIEW.model_copy(update={"done": 6})])

    told = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert [each["done"] for each in told] == [5, 6]


def test_the_live_table_has_a_cell_for_each_of_these(capsys: pytest.CaptureFixture[str]) -> None:
    view = LiveTable()

    view.show([VIEW])
    view.close()

    told = capsys.readouterr().out
    for cell in (RUN, "combining", "5 of 12", "42.2", "8 s"):
        assert cell in told


def test_what_has_ended_shows_no_pace_and_no_time_left() -> None:
    ended = VIEW.model_copy(update={"state": RunState.DONE_WITH_REMARKS})

    assert ended.words() == "5 of 12 frames, 1 set aside"
    assert not ended.whole


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(0.2, "1 s"), (89, "89 s"), (90, "2 min"), (3600, "60 min"), (5400, "1 h 30 min")],
)
def test_times_are_told_no_finer_than_they_are_known(seconds: float, words: str) -> None:
    assert words == time_words(seconds)


def _stops_the_shot() -> dict[str, object]:
    return {
        "rank": "stops the shot",
        "what": "pass haze has another size than the others",
        "place": {"shot": "mole_040", "pass_name": "haze"},
    }


def test_trouble_of_the_service_arrives_with_where_and_what_to_do() -> None:
    told = {
        "detail": "the folder of a new version can't be made",
        "errors": [
            {
                "rank": "stops the shot",
                "what": "the folder of a new version can't be made",
                "where": {"file": "out:mole_040"},
                "seen": "Operation not permitted",
                "expected": "a folder that this machine may write",
                "remedy": "Check rights and free space of the output folder.",
            }
        ],
    }
    answer = httpx.Response(
        500, headers={"content-type": "application/problem+json"}, content=json.dumps(told)
    )

    with (
        Client("http://127.0.0.1:80", httpx.MockTransport(lambda _: answer)) as client,
        pytest.raises(ServiceFailed, match=r"out:mole_040.*not permitted.*Check rights"),
    ):
        client.view(RUN)
