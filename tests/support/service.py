"""A whole service in a folder of its own: server, API, worker, all real."""

import os
import sys
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from glimsum_services.child_environment import kept_kernels
from glimsum_services.embedded import API, WORKER, EmbeddedService
from glimsum_services.settings import Settings, load_settings
from support.server import server_program

TESTS = Path(__file__).parent.parent
PYTHONPATH = os.pathsep.join(
    str(TESTS.parent / name) for name in ("jobs", "workers", "services", "tests")
)


def quick_settings(folder: Path, **given: Any) -> Settings:
    """Return settings with short times, a free port and the state inside `folder`."""
    quick: dict[str, Any] = {
        "state_folder": folder / "state",
        "port": 0,
        "slots": 2,
        "lease_s": 3.0,
        "beat_s": 0.7,
        "tick_s": 0.2,
        "ticket_s": 5.0,
        "back_off_s": 0.2,
        "grace_s": 2.0,
        "ballast_mib": 1,
        "reserve_mib": 1,
    }
    return load_settings({}, **(quick | given))


@contextmanager
def running_service(
    settings: Settings, *, api: str = API, worker: Sequence[str] = WORKER
) -> Iterator[EmbeddedService]:
    """Start the service and stop it at the end; skip where there is no server program.

    Loops are compiled once for all tests, not by each in its own state folder.
    """
    server_program()
    shared = kept_kernels(Path(tempfile.gettempdir()) / "glimsum_tests", os.environ)
    with pytest.MonkeyPatch.context() as patch:
        for name, value in {"PYTHONPATH": PYTHONPATH, **shared}.items():
            patch.setenv(name, value)
        with EmbeddedService(settings, api=api, worker=worker) as service:
            yield service


def program(*words: str) -> list[str]:
    """Return the command that runs Python with `words`."""
    return [sys.executable, *words]
