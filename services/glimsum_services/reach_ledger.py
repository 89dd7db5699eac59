"""The way to the ledger without the HTTP interface: the one that runs, or ours started for now."""

import os
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from redis.exceptions import RedisError

from glimsum_jobs.errors import StoreError
from glimsum_jobs.problems import Place
from glimsum_services.bound import BoundProcess
from glimsum_services.own_server import OwnServer
from glimsum_services.settings import Settings
from glimsum_services.store.connection import connect

START_S = 30.0


@contextmanager
def reached_ledger(settings: Settings) -> Iterator[str]:
    """Give the address of the ledger while the block runs.

    With ``broker`` set that is it. Else it is our own server in the state folder: the running
    one, or one started for the block.

    Raises
    ------
    StoreError
        No server answers, or ours does not start.
    """
    if settings.broker:
        yield settings.broker
        return
    running = settings.state_folder / "ledger" / "url"
    if running.is_file() and _answers(url := running.read_text("utf-8").strip()):
        yield url
        return
    server = OwnServer(settings.state_folder, settings.ballast_mib)
    logs = settings.state_folder / "logs"
    logs.mkdir(parents=True, exist_ok=True, mode=0o700)
    process = BoundProcess("server", server.command, os.environ, logs / "server.log")
    try:
        process.start()
        _wait_for(process, server.url, logs)
        yield server.url
    finally:
        process.ask_to_stop()
        process.end(time.monotonic() + 10)
        server.close()


def _wait_for(process: BoundProcess, url: str, logs: Path) -> None:
    deadline = time.monotonic() + START_S
    while not _answers(url):
        if process.process_id is None or time.monotonic() > deadline:
            raise StoreError(
                "our server of queue and ledger does not start",
                place=Place(file=str(logs / "server.log")),
                seen=process.last_words(),
                expected=f"a server that answers within {START_S:g} s",
                remedy="Free disk space in the state folder, or look into the log.",
            )
        time.sleep(0.02)


def _answers(url: str) -> bool:
    client = connect(url)
    with suppress(RedisError):
        return bool(client.ping())
    client.close()
    return False
