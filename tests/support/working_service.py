"""A service at a real address whose shots are really made, by a worker's own code in this test."""

import json
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import uvicorn
from typer.testing import CliRunner, Result

from glimsum_jobs.ledger import EVERY_STAGE
from glimsum_services.api.app import create_app
from glimsum_services.cli.program import make_app
from glimsum_services.connections import Connections, open_connections
from glimsum_workers.celery_tasks import Workplace
from glimsum_workers.frames.roots import Roots
from glimsum_workers.perform import Performer
from support.api_work import settings_for, wait_for
from support.server import running_server


@dataclass(frozen=True)
class WorkingService:
    """A service that answers, and the means to do its work."""

    address: str
    folder: Path
    link: Connections
    place: Workplace[Any]

    def ask(self, *words: str) -> Result:
        """Run a command of the program against this service."""
        return CliRunner().invoke(make_app(), [*words, "--service", self.address])

    def ask_json(self, *words: str) -> Any:
        """Run a command with --json; it must end well; return its last document."""
        result = self.ask(*words, "--json")
        assert result.exit_code == 0, result.output
        lines = result.output.strip()
        return json.loads(lines if lines.startswith("{\n") else lines.splitlines()[-1])

    def make(self, run: str) -> None:
        """Work on a run until it ends."""

        def worked() -> bool:
            self.place.work_on_shot(run, EVERY_STAGE)
            record = self.link.ledger.record(run)
            return record is not None and record.ended is not None

        wait_for(worked, 60)

    def version(self, number: int) -> Path:
        """Return the folder of a version of the small shot."""
        return self.folder / "out" / "small" / f"v{number:03d}"


@contextmanager
def working_service(folder: Path) -> Iterator[WorkingService]:
    """Start the service, its roots ``plates`` and ``out`` below `folder`."""
    for name in ("plates", "out"):
        (folder / name).mkdir(exist_ok=True)
    with running_server() as (_, url):
        settings = settings_for(url, folder)
        server = uvicorn.Server(uvicorn.Config(create_app(settings), port=0, log_level="critical"))
        thread = threading.Thread(target=server.run)
        thread.start()
        wait_for(lambda: server.started)
        port = server.servers[0].sockets[0].getsockname()[1]
        link = open_connections(settings)
        performer = Performer(link.ledger, Roots(settings.roots), "here")
        place = Workplace(
            ledger=link.ledger,
            orders=link.orders,
            perform=performer,
            machine="here",
            beat_s=5.0,
            ticket_s=60.0,
        )
        try:
            yield WorkingService(f"http://127.0.0.1:{port}", folder, link, place)
        finally:
            performer.close()
            link.client.close()
            server.should_exit = True
            thread.join(15)
