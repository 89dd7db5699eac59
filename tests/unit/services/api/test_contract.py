"""The service holds what its OpenAPI says, asked by made-up requests: sound, odd and wrong ones."""

import os
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings

from glimsum_services.tokens import Scope, Tokens
from support.api_server import Running, running_service
from support.api_work import SHOT

schemathesis = pytest.importorskip("schemathesis", reason="a tool for contracts, for tests only")
checks = pytest.importorskip("schemathesis.specs.openapi.checks")

HELD = [
    checks.status_code_conformance,
    checks.content_type_conformance,
    checks.response_schema_conformance,
]

EXAMPLES = int(os.environ.get("GLIMSUM_EXAMPLES", "10"))
"""Requests an operation; more by hand: GLIMSUM_EXAMPLES=200."""

KNOWN: dict[str, Any] = {"shot": "mole_040", "version": 1, "frame": 1001, "sequence": "none",
                         "wedge": "mole_040.w001"}  # fmt: skip
STREAMS = ("/events", "/shots/{shot}/events")
"""They never end; test_events.py reads them."""


@pytest.fixture(scope="module")
def asked(broker: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    folder = tmp_path_factory.mktemp("asked")
    with running_service(broker, folder, host="0.0.0.0") as service:  # noqa: S104  # not bound
        _, text = Tokens(folder).make("contract", list(Scope))
        service.http.headers["Authorization"] = f"Bearer {text}"
        assert service.http.post("/shots", json=SHOT).status_code == 201
        wedge = {
            "shot": SHOT["shot"],
            "frames": [1001],
            "varied": [{"name": "haze", "values": [1]}],
        }
        assert service.http.post("/wedges", json=wedge).status_code == 201
        yield service


@pytest.fixture(scope="module")
def contract(asked: Running) -> Any:
    description = asked.http.get("/openapi.json").json()
    loaded = schemathesis.openapi.from_dict(description)
    loaded.config.update(base_url=asked.url)
    return loaded.exclude(path=list(STREAMS))


QUIETLY = settings(
    deadline=None, derandomize=True, database=None, suppress_health_check=[HealthCheck.too_slow]
)


def ask_all(contract: Any, examples: int, hold: Callable[[Any], None]) -> int:
    """Hold something for made-up requests to every operation; return how many operations."""
    count = 0
    for found in contract.get_all_operations():
        operation = found.ok()

        @settings(QUIETLY, max_examples=examples)
        @given(case=operation.as_strategy())
        def ask(case: Any) -> None:
            hold(case)

        ask()
        count += 1
    return count


def test_no_request_is_answered_by_a_fault_or_by_what_is_not_declared(
    asked: Running, contract: Any
) -> None:
    def hold(case: Any) -> None:
        for known in (False, True):
            if known:
                for name in case.path_parameters or {}:
                    case.path_parameters[name] = KNOWN.get(name, case.path_parameters[name])
            answer = case.call(headers={"Authorization": asked.http.headers["Authorization"]})
            assert answer.status_code != 500, answer.text
            case.validate_response(answer, checks=HELD)

    assert ask_all(contract, EXAMPLES, hold) >= 18


def test_no_address_answers_without_a_token_but_those_that_say_so(contract: Any) -> None:
    def hold(case: Any) -> None:
        answer = case.call(headers={"Authorization": "Bearer 0123456789ab.x"})
        free = case.operation.definition.raw["security"] == []
        assert (answer.status_code == 401) != free or case.operation.path == "/session"

    assert ask_all(contract, 2, hold) >= 18
