"""The service on a port of its own, in a thread of the test, over a real ledger."""

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx
import uvicorn
from fastapi import FastAPI

from glimsum_services.api.app import create_app
from glimsum_services.api.service import Service
from support.api_work import Work, settings_for


@dataclass(frozen=True)
class Running:
    """A service that answers."""

    url: str
    app: FastAPI
    http: httpx.Client
    work: Work

    @property
    def service(self) -> Service:
        """Return what its routes work with."""
        service: Service = self.app.state.service
        return service


@contextmanager
def running_service(
    broker: str, folder: Path, *, port: int = 0, empty: bool = True, **given: Any
) -> Iterator[Running]:
    """Start the service for `broker`, its roots below `folder`; stop it at the end.

    `port` 0 is any; `empty` begins with an empty ledger; `given` are more settings. It listens
    to this machine alone, whatever ``host`` says.
    """
    for name in ("plates", "out"):
        (folder / name).mkdir(exist_ok=True)
    app = create_app(settings_for(broker, folder, **given))
    config = uvicorn.Config(
        app, host="127.0.0.1", port=port, log_level="error", timeout_graceful_shutdown=1
    )
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    try:
        deadline = time.monotonic() + 15
        while not server.started:
            assert thread.is_alive(), "the service did not start"
            assert time.monotonic() < deadline, "the service did not start within 15 s"
            time.sleep(0.01)
        port = int(server.servers[0].sockets[0].getsockname()[1])
        url = f"http://127.0.0.1:{port}"
        service: Service = app.state.service
        if empty:
            service.client.flushall()
        with httpx.Client(base_url=url, timeout=20, trust_env=False) as http:
            ledger = service.ledger
            yield Running(url, app, http, Work(ledger, folder / "out"))
    finally:
        server.should_exit = True
        thread.join(10)
