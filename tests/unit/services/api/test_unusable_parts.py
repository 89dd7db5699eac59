"""A request that can't be used is answered by one problem for each value, in words."""

import httpx
import pytest

from support.api_server import Running


def tell(answer: httpx.Response) -> list[dict[str, str]]:
    assert answer.status_code == 422
    errors: list[dict[str, str]] = answer.json()["errors"]
    return errors


def test_a_body_that_is_not_said_to_be_json_is_told_so(running: Running) -> None:
    answer = running.http.post("/wedges", content=b'{"shot": "a"}')

    (error,) = tell(answer)

    assert error["what"] == "the body is not said to be JSON"
    assert error["seen"] == "no Content-Type"
    assert error["expected"] == "Content-Type: application/json"


def test_a_body_that_is_no_json_is_told_where(running: Running) -> None:
    answer = running.http.post(
        "/wedges", content=b'{"shot": ', headers={"Content-Type": "application/json"}
    )

    (error,) = tell(answer)

    assert error["what"] == "the body is no JSON"
    assert "at byte 9" in error["seen"]


def test_what_is_missing_is_named_one_by_one(running: Running) -> None:
    errors = tell(running.http.post("/wedges", json={}))

    assert [each["seen"] for each in errors] == ["nothing"] * len(errors)
    assert "body shot can't be used" in [each["what"] for each in errors]


@pytest.mark.parametrize("value", ["bright", None, {"a": 1}])
def test_a_value_that_fits_none_of_several_kinds_is_one_problem(
    running: Running, value: object
) -> None:
    varied = {"name": "practicals", "values": [0.5, value]}

    errors = tell(
        running.http.post("/wedges", json={"shot": "a", "frames": [1], "varied": [varied]})
    )

    (error,) = errors
    assert error["what"] == "body varied.0.values.1 can't be used"
    assert error["seen"] == str(value)
