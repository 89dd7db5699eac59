"""A night over a real server, its ledger empty."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from glimsum_services.report.night import Reporter
from glimsum_services.store.connection import connect
from glimsum_services.store.machines import Machines
from glimsum_services.store.troubles import Troubles
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


@pytest.fixture
def reporter(night: Night) -> Reporter:
    client = night.client
    return Reporter(
        night.shots, night.ledger, Troubles(client), Machines(client), dict(night.roots)
    )
