"""A night over a real server, its ledger empty."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from glimsum_services.store.connection import connect
from support.night_here import Night, make_plates
from support.server import running_server


@pytest.fixture(scope="module")
def url() -> Iterator[str]:
    with running_server() as (_, url):
        yield url


@pytest.fixture
def night(url: str, tmp_path: Path) -> Iterator[Night]:
    client = connect(url)
    yield Night(client, make_plates(tmp_path))
    client.close()
