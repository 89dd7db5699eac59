"""Who may ask what: tokens, their scopes, the page's cookie; and nothing secret in any answer."""

import io
import json
import logging
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest

from glimsum_services.api.admission import COOKIE
from glimsum_services.json_lines import JsonLines
from glimsum_services.tokens import Scope, Tokens
from support.api_server import Running, running_service
from support.api_work import SHOT
from unit.services.api.test_error_shape import hold_shape

HERE = "/shots/mole_040/versions/1"


@pytest.fixture
def guarded(broker: str, tmp_path: Path) -> Iterator[Running]:
    with running_service(broker, tmp_path, host="0.0.0.0") as service:  # noqa: S104  # not bound
        yield service


def token_for(running: Running, *scopes: Scope, shots: tuple[str, ...] = ()) -> dict[str, str]:
    _, text = Tokens(running.work.out.parent).make("test", scopes, shots)
    return {"Authorization": f"Bearer {text}"}


def test_a_service_that_others_can_reach_asks_for_a_token(guarded: Running) -> None:
    answer = guarded.http.get("/shots")
    hold_shape(answer, 401)
    # RFC 6750, 3: the challenge; without a token it names no error.
    assert answer.headers["www-authenticate"] == 'Bearer realm="glimsum"'
    hold_shape(guarded.http.get("/nothing"), 401)


@pytest.mark.parametrize(
    "stated",
    [
        "Bearer .",
        "Bearer x",
        "Bearer 0123456789ab.x",
        "Basic eDp5",
        "bearer",
        "Bearer " + "x" * 500,
    ],
)
def test_a_wrong_token_is_refused(guarded: Running, stated: str) -> None:
    token_for(guarded, Scope.READ)
    answer = guarded.http.get("/shots", headers={"Authorization": stated})
    hold_shape(answer, 401)
    assert 'error="invalid_token"' in answer.headers["www-authenticate"]


def test_a_scope_that_is_too_small_is_refused_with_the_one_needed(guarded: Running) -> None:
    reader = token_for(guarded, Scope.READ)
    assert guarded.http.get("/shots", headers=reader).status_code == 200
    refused = guarded.http.post("/shots", json=SHOT, headers=reader)
    error = hold_shape(refused, 403).errors[0]
    assert (error.seen, error.expected) == ("read", "submit")
    # RFC 6750, 3.1: insufficient_scope, with the scope that is needed.
    assert 'error="insufficient_scope", scope="submit"' in refused.headers["www-authenticate"]

    sender = token_for(guarded, Scope.SUBMIT)
    assert guarded.http.post("/shots", json=SHOT, headers=sender).status_code == 201
    for method, address in (("PUT", f"{HERE}/control"), ("POST", f"{HERE}/retry")):
        refused = guarded.http.request(method, address, json={"state": "pause"}, headers=sender)
        assert hold_shape(refused, 403).errors[0].expected == "control"
    assert hold_shape(guarded.http.get("/shots", headers=sender), 403).errors[0].expected == "read"


def test_another_s_shot_can_be_neither_submitted_nor_changed(guarded: Running) -> None:
    mine = token_for(guarded, *Scope, shots=("quay_",))
    everyone = token_for(guarded, *Scope)
    assert guarded.http.post("/shots", json=SHOT, headers=everyone).status_code == 201

    jobs = [SHOT | {"shot": "quay_010", "output": "out:quay_010"}, SHOT]
    batch = guarded.http.post("/shots", json={"jobs": jobs}, headers=mine)
    assert hold_shape(batch, 403).errors[0].seen == "mole_040"
    assert guarded.http.get("/shots/quay_010", headers=mine).status_code == 404
    for method, address, body in (
        ("POST", "/shots", SHOT),
        ("POST", "/shots/mole_040/versions", {"rate": 25}),
        ("PUT", f"{HERE}/control", {"state": "cancel"}),
        ("POST", f"{HERE}/retry", None),
    ):
        headers = mine | {"If-Match": "*"}
        refused = guarded.http.request(method, address, json=body, headers=headers)
        assert hold_shape(refused, 403).errors[0].seen == "mole_040"
    assert guarded.http.get(HERE, headers=mine).json()["control"] == "run"
    assert guarded.http.post("/shots", json=jobs[0], headers=mine).status_code == 201


def test_a_sequence_with_another_s_shots_is_not_replaced(guarded: Running) -> None:
    everyone, mine = token_for(guarded, *Scope), token_for(guarded, *Scope, shots=("quay_",))
    defaults = {name: value for name, value in SHOT.items() if name not in ("shot", "output")}
    tree = {"glimsum": 1, "sequence": "harbour", "defaults": defaults}
    theirs = tree | {"shots": [{"shot": "mole_040", "output": "out:mole_040"}]}
    ours = tree | {"shots": [{"shot": "quay_010", "output": "out:quay_010"}]}
    assert guarded.http.post("/sequences", json=theirs, headers=everyone).status_code == 201
    refused = guarded.http.post("/sequences", json=ours, headers=mine)
    assert hold_shape(refused, 403).errors[0].seen == "mole_040"


def test_a_withdrawn_token_is_refused_at_once(guarded: Running) -> None:
    tokens = Tokens(guarded.work.out.parent)
    token, text = tokens.make("test", [Scope.READ])
    headers = {"Authorization": f"Bearer {text}"}
    assert guarded.http.get("/shots", headers=headers).status_code == 200
    tokens.withdraw(token.id)
    assert guarded.http.get("/shots", headers=headers).status_code == 401


def test_the_page_signs_in_once_and_its_cookie_is_for_no_script(guarded: Running) -> None:
    assert guarded.http.get("/").status_code == 200
    assert guarded.http.get("/healthz").json() == {"alive": True}
    wrong = guarded.http.post("/session", json={"token": "x.y"})
    hold_shape(wrong, 401)
    text = token_for(guarded, Scope.READ)["Authorization"].partition(" ")[2]
    answer = guarded.http.post("/session", json={"token": text})
    # RFC 6265, 4.1.2.6 HttpOnly; SameSite as in RFC 6265bis (from memory).
    stated = answer.headers["set-cookie"]
    assert answer.status_code == 204
    assert stated.startswith(f"{COOKIE}={text};")
    assert "HttpOnly" in stated
    assert "SameSite=strict" in stated
    with httpx.Client(base_url=guarded.url, cookies={COOKIE: text}, trust_env=False) as page:
        with page.stream("GET", "/events") as events:
            assert events.status_code == 200
        strange = page.get("/shots", headers={"Origin": "https://evil.example"})
        hold_shape(strange, 403)
    assert 'glimsum_token=""' in guarded.http.delete("/session").headers["set-cookie"]


def test_a_key_of_one_token_tells_another_nothing(guarded: Running) -> None:
    key = {"Idempotency-Key": "night-1"}
    first = guarded.http.post("/shots", json=SHOT, headers=token_for(guarded, *Scope) | key)
    other = guarded.http.post("/shots", json=SHOT, headers=token_for(guarded, *Scope) | key)
    assert (first.status_code, other.status_code) == (201, 200)
    assert "idempotent-replayed" not in other.headers


def test_the_same_request_at_once_is_answered_once(guarded: Running) -> None:
    # draft-ietf-httpapi-idempotency-key-header (from memory): 409 while the first is in progress.
    import hashlib

    sender = token_for(guarded, *Scope)
    name = sender["Authorization"].partition(" ")[2].partition(".")[0]
    data = json.dumps(SHOT).encode()
    guarded.service.requests.begin(f"{name} POST /shots night-2", hashlib.sha256(data).hexdigest())
    headers = sender | {"Idempotency-Key": "night-2", "Content-Type": "application/json"}
    answer = guarded.http.post("/shots", content=data, headers=headers)
    hold_shape(answer, 409)
    assert answer.headers["retry-after"] == "1"


def test_on_this_machine_alone_no_token_is_needed(running: Running) -> None:
    assert running.http.get("/shots").status_code == 200
    assert running.http.post("/session", json={"token": "x"}).status_code == 204


def test_the_description_says_what_each_address_asks_for(guarded: Running) -> None:
    tree: dict[str, Any] = guarded.http.get("/openapi.json").json()
    assert set(tree["components"]["securitySchemes"]) == {"bearer", "cookie"}
    asked = {
        (verb, path): operation["security"]
        for path, verbs in tree["paths"].items()
        for verb, operation in verbs.items()
    }
    free = {where for where, security in asked.items() if not security}
    assert free == {("get", "/healthz"), ("post", "/session"), ("delete", "/session")}


def requests_in(words: io.StringIO) -> int:
    whole = words.getvalue().rpartition("\n")[0]
    return sum(json.loads(line).get("event") == "request" for line in whole.splitlines())


def test_no_secret_stands_in_log_or_answer_and_each_request_is_one_line(guarded: Running) -> None:
    words = io.StringIO()
    handler = logging.StreamHandler(words)
    handler.setFormatter(JsonLines())
    log = logging.getLogger("glimsum_services")
    log.addHandler(handler)
    log.setLevel(logging.INFO)
    headers = token_for(guarded, *Scope) | {"X-Request-ID": "night-7"}
    text = headers["Authorization"].partition(" ")[2]
    try:
        answers = [
            guarded.http.post("/shots", json=SHOT, headers=headers),
            guarded.http.get(f"{HERE}/frames/1001/preview", headers=headers),
            guarded.http.get("/shots", headers={"Authorization": f"Bearer {text}x"}),
            guarded.http.post("/session", json={"token": f"{text}x"}),
            guarded.http.get("/readyz", headers=headers),
        ]
        log.warning("a line with %s and redis://:hidden-word@farm/0", text)
        # A request is logged when its answer is out: the last one may come a moment later.
        patience = time.monotonic() + 5
        while requests_in(words) < len(answers) and time.monotonic() < patience:
            time.sleep(0.01)
    finally:
        log.removeHandler(handler)
        log.setLevel(logging.NOTSET)
    secret = text.partition(".")[2]
    said = words.getvalue() + "".join(f"{each.text}{each.headers}" for each in answers)
    assert secret not in said
    assert "hidden-word" not in said

    lines = [json.loads(line) for line in words.getvalue().splitlines()]
    requests = [line for line in lines if line.get("event") == "request"]
    assert len(requests) == len(answers)
    assert answers[0].headers["x-request-id"] == requests[0]["request_id"] == "night-7"
    assert requests[0]["token"] == text.partition(".")[0]
    frame = {name: requests[1][name] for name in ("run", "item", "status")}
    assert frame == {"run": "mole_040/v001", "item": "1001", "status": 404}
    assert "token" not in requests[2]
