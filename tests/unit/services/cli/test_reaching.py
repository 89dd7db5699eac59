"""Which line a person types next: after the start, and where no service answers."""

import pytest

from glimsum_services.cli.options import DEFAULT_SERVICE
from glimsum_services.cli.reaching import reach, submit_line, way_to_start
from glimsum_services.service_errors import ServiceAway


@pytest.mark.parametrize(
    ("address", "line"),
    [
        (DEFAULT_SERVICE, "glimsum submit JOB --wait"),
        (
            "http://127.0.0.1:8481",
            "glimsum submit JOB --wait --service http://127.0.0.1:8481",
        ),
    ],
)
def test_the_next_line_names_the_service_only_where_it_is_not_the_usual_one(
    address: str, line: str
) -> None:
    assert line == submit_line(address)


@pytest.mark.parametrize(
    ("address", "words"),
    [
        (DEFAULT_SERVICE, "type: glimsum up. Then type this line again."),
        ("http://127.0.0.1:8481", "type: glimsum up --port 8481. Then"),
        ("http://localhost:8470", "type: glimsum up. Then"),
        ("http://shed:8470", "Start the service on shed"),
        ("http://127.0.0.1:port", "Write the address as http://127.0.0.1:8470"),
        ("127.0.0.1", "Write the address as http://127.0.0.1:8470"),
    ],
)
def test_where_no_service_answers_the_line_that_starts_it_is_named(
    address: str, words: str
) -> None:
    assert words in way_to_start(address)


def test_an_address_where_nobody_listens_is_told_with_the_way_to_start() -> None:
    # port 9: discard, RFC 863; nobody listens
    with (
        pytest.raises(ServiceAway, match=r"type: glimsum up --port 9\. Then type this line again"),
        reach("http://127.0.0.1:9") as client,
    ):
        client.roots()


def test_a_service_that_is_not_ready_keeps_its_own_remedy() -> None:
    with (
        pytest.raises(ServiceAway, match="Free the disk"),
        reach(DEFAULT_SERVICE),
    ):
        raise ServiceAway("the ledger rests", remedy="Free the disk.")
