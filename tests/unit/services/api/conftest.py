"""A service on a port of its own over a real ledger."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from support.api_server import Running, running_service
from support.server import running_server


@pytest.fixture(scope="session")
def broker() -> Iterator[str]:
    with running_server() as (_, url):
        yield url


@pytest.fixture
def running(broker: str, tmp_path: Path) -> Iterator[Running]:
    with running_service(broker, tmp_path) as service:
        yield service
