"""A service at a real address, with a stand-in for the workers that does their bookkeeping."""

import json
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
import uvicorn

from glimsum_services.api.app import create_app
from glimsum_services.connections import open_connections
from support.api_work import SHOT, Work, settings_for, wait_for
from support.server import running_server


@dataclass(frozen=True)
class Standing:
    """A service that answers."""

    address: str
    work: Work
    job: Path
    """A job file below the root ``plates``, its paths relative."""


@pytest.fixture
def service(tmp_path: Path) -> Iterator[Standing]:
    for name in ("plates", "out"):
        (tmp_path / name).mkdir()
    text = json.dumps(SHOT).replace("plates:", "")
    job = tmp_path / "plates" / "mole_040.json"
    job.write_text(text)
    with running_server() as (_, url):
        settings = settings_for(url, tmp_path)
        config = uvicorn.Config(create_app(settings), port=0, log_level="critical")
        server = uvicorn.Server(config)
        thread = threading.Thread(target=server.run)
        thread.start()
        wait_for(lambda: server.started)
        port = server.servers[0].sockets[0].getsockname()[1]
        link = open_connections(settings)
        try:
            yield Standing(f"http://127.0.0.1:{port}", Work(link.ledger, tmp_path / "out"), job)
        finally:
            link.client.close()
            server.should_exit = True
            thread.join(15)
