"""One shape for trouble, on every route; and what every request passes first."""

import json
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import httpx
import pytest

from glimsum_services.api.guards import MAX_BODY_BYTES
from glimsum_services.api.problem_details import ProblemDetail
from support.api_server import Running, running_service
from support.api_work import SHOT
from support.server import running_server


def hold_shape(answer: httpx.Response, status: int) -> ProblemDetail:
    """Hold an answer to RFC 9457: media type, members, and status as answered."""
    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/problem+json"
    body = ProblemDetail.model_validate(answer.json())
    assert body.status == status
    assert body.detail
    for error in body.errors:
        assert error.what
        assert error.expected
    return body


NAMES = {"shot": "none", "version": "1", "frame": "1001", "sequence": "none", "wedge": "none.w001"}


def routes(running: Running) -> list[tuple[str, str]]:
    paths: dict[str, dict[str, Any]] = running.http.get("/openapi.json").json()["paths"]
    return [(method.upper(), path) for path, verbs in paths.items() for method in verbs]


def test_every_route_answers_what_is_not_there_in_the_one_shape(running: Running) -> None:
    visited = 0
    for method, path in routes(running):
        if "{" not in path:
            continue
        body = {"cell": 1} if path.endswith("/pick") else {"state": "run"}
        answer = running.http.request(
            method, path.format(**NAMES), json=body, headers={"If-Match": "*"}
        )
        hold_shape(answer, 404)
        visited += 1
    assert visited >= 11


def test_every_route_refuses_another_method_in_the_one_shape(running: Running) -> None:
    known = routes(running)
    for _, path in known:
        answer = running.http.request("PATCH", path.format(**NAMES))
        hold_shape(answer, 405)
        # RFC 9110, 10.2.1: Allow lists the methods the resource supports.
        methods = {method for method, other in known if other == path}
        assert set(answer.headers["allow"].split(", ")) == methods


def test_every_route_declares_its_error_answers(running: Running) -> None:
    paths = running.http.get("/openapi.json").json()["paths"]
    for verbs in paths.values():
        for verb in verbs.values():
            for status in ("422", "500", "503"):
                content = verb["responses"][status]["content"]
                assert list(content) == ["application/problem+json"]


def test_every_name_the_description_refers_to_is_there(running: Running) -> None:
    text = running.http.get("/openapi.json").text
    tree = json.loads(text)
    names = {part.split('"')[0] for part in text.split("#/components/schemas/")[1:]}
    assert names <= set(tree["components"]["schemas"])


@pytest.mark.parametrize(
    ("method", "address", "status"),
    [
        ("GET", "/nothing", 404),
        ("GET", "/shots/UPPER", 422),
        ("GET", "/shots?limit=1000", 422),
        ("GET", "/shots/x/versions/0", 422),
        ("GET", "/shots/x/versions/1/frames/1001/../../job", 404),
    ],
)
def test_strange_addresses_are_answered_in_the_one_shape(
    running: Running, method: str, address: str, status: int
) -> None:
    hold_shape(running.http.request(method, address), status)


def test_a_body_of_another_kind_is_refused(running: Running) -> None:
    body = hold_shape(running.http.post("/shots", content="a: 1"), 415)
    assert body.errors[0].seen == "Content-Type: nothing"


@pytest.mark.parametrize("address", ["/shots", "/sequences", "/shots/x/versions"])
def test_a_body_that_is_too_large_is_refused_before_it_is_read(
    running: Running, address: str
) -> None:
    data = b" " * (MAX_BODY_BYTES + 1)
    headers = {"Content-Type": "application/json"}
    body = hold_shape(running.http.post(address, content=data, headers=headers), 413)
    assert body.errors[0].seen == f"{MAX_BODY_BYTES + 1} bytes"


def test_a_body_without_a_stated_length_is_limited_too(running: Running) -> None:
    pieces = (b" " * 65536 for _ in range(MAX_BODY_BYTES // 65536 + 2))
    headers = {"Content-Type": "application/json"}
    try:
        answer = running.http.post("/shots", content=pieces, headers=headers)
    except httpx.WriteError:
        return  # the service closed the line before everything was sent
    hold_shape(answer, 413)


def test_another_name_than_its_own_is_refused(running: Running) -> None:
    # DNS rebinding: a page of a strange site asks this machine under the site's own name.
    answer = running.http.get("/shots", headers={"Host": "evil.example"})
    assert hold_shape(answer, 403).errors[0].seen == "Host: evil.example"


def test_a_page_of_another_site_is_refused(running: Running) -> None:
    answer = running.http.post("/shots", json=SHOT, headers={"Origin": "https://evil.example"})
    assert hold_shape(answer, 403).errors[0].seen == "Origin: https://evil.example"
    own = running.http.post("/shots", json=SHOT, headers={"Origin": running.url})
    assert own.status_code == 201


def test_every_answer_carries_the_security_headers(running: Running) -> None:
    for address in ("/", "/shots", "/nothing", "/page.js"):
        headers = running.http.get(address).headers
        assert "script-src 'self'" in headers["content-security-policy"]
        assert "unsafe" not in headers["content-security-policy"]
        assert headers["x-content-type-options"] == "nosniff"


def test_a_silent_ledger_is_said_in_words(tmp_path: Path) -> None:
    with ExitStack() as ledger:
        _, url = ledger.enter_context(running_server())
        with running_service(url, tmp_path) as running:
            assert running.http.get("/shots").status_code == 200
            ledger.close()

            answer = running.http.get("/shots")
            body = hold_shape(answer, 503)
            assert answer.headers["retry-after"] == "5"
            assert "Nothing is lost" in body.errors[0].remedy
            hold_shape(running.http.post("/shots", json=SHOT), 503)
            assert not list((tmp_path / "out").glob("[!.]*"))
            assert running.http.get("/healthz").json() == {"alive": True}
