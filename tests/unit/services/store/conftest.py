"""A real server for the tests of the store, empty for each test."""

from collections.abc import Iterator

import pytest
import redis

from support.server import running_server


@pytest.fixture(scope="session")
def server_of_session() -> Iterator[redis.Redis]:
    with running_server() as (client, _):
        yield client


@pytest.fixture
def server(server_of_session: redis.Redis) -> redis.Redis:
    server_of_session.flushall()
    return server_of_session
