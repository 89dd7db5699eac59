"""The whole service on one machine: server, API and worker started, kept and stopped together."""

import logging
import os
import signal
import socket
import sys
import threading
import time
from collections.abc import Sequence
from contextlib import suppress
from types import TracebackType
from typing import Self

from glimsum_jobs.errors import GlimsumError, StoreError
from glimsum_jobs.problems import Place
from glimsum_services.awake import Awake
from glimsum_services.bound import BoundProcess
from glimsum_services.child_environment import KEEP_PAGES, ONE_THREAD, kept_kernels
from glimsum_services.own_server import OwnServer
from glimsum_services.settings import Settings, variable
from glimsum_services.store.connection import connect
from glimsum_services.store.machines import Machines

__all__ = ["API", "KEEP_PAGES", "ONE_THREAD", "WORKER", "EmbeddedService"]

log = logging.getLogger(__name__)

MOST_FIRST_STARTS = 3
"""A part that ends so often before the service was up once is not tried again."""

NOT_WHOLE = ("ModuleNotFoundError: ", "ImportError: ")
MEND = "Mend what it says, then start again; the lines before it are in the log."
IN_TIME = "Start it again when this machine has less to do; else the logs say where it waits."
WHOLE = (
    "The installation is not whole: run the set-up command again; if the same comes back, delete "
    "the folder .venv before it."
)

API = "glimsum_services.api.app:create_app"
WORKER = (sys.executable, "-m", "glimsum_services.farm")


class EmbeddedService:
    """Server, API and worker as children of this process; a context manager.

    They end with this process, however it ends (Linux). One that ends by itself is started again.

    Parameters
    ----------
    settings : Settings
        With ``broker`` empty our own server is started; port 0 takes a free one.
    api : str
        Module and factory of the ASGI application.
    worker : sequence of str
        Command of the worker; empty for none on this machine.
    """

    def __init__(
        self, settings: Settings, *, api: str = API, worker: Sequence[str] = WORKER
    ) -> None:
        self.settings = settings
        self.port = settings.port
        self._api_factory = api
        self._worker_command = list(worker)
        self._server: OwnServer | None = None
        self._server_process: BoundProcess | None = None
        self._others: list[BoundProcess] = []
        self._awake: Awake | None = None
        self._looked_at = time.monotonic()
        self._stop = threading.Event()
        self._up = threading.Event()
        self._trouble: GlimsumError | None = None
        self._thread = threading.Thread(target=self._supervise, name="supervisor")

    @property
    def url(self) -> str:
        """Return the address of the page and the API."""
        host = f"[{self.settings.host}]" if ":" in self.settings.host else self.settings.host
        return f"http://{host}:{self.port}"

    @property
    def broker(self) -> str:
        """Return the server's address with its password; for memory only, never for a log."""
        return self._server.url if self._server else self.settings.broker

    def processes(self) -> dict[str, int | None]:
        """Return the process ids by name: server, api, worker."""
        known = [*([self._server_process] if self._server_process else []), *self._others]
        return {each.name: each.process_id for each in known}

    def start(self, timeout_s: float = 60.0) -> Self:
        """Start everything and return when the API answers and the worker is there.

        Raises
        ------
        StoreError
            The folder or the port is in use, or a part did not come up; nothing is left running.
        """
        self.port = _free_port(self.settings.host, self.settings.port)
        if not self.settings.broker:
            lan = (self.settings.lan, self.settings.lan_port) if self.settings.lan else None
            self._server = OwnServer(self.settings.state_folder, self.settings.ballast_mib, lan)
        self._awake = Awake()
        if not self._awake.held:
            log.warning("this machine may go to sleep while it works: no sleep inhibitor here")
        self._thread.start()
        deadline = time.monotonic() + timeout_s
        while not self._up.wait(0.05) and self._trouble is None:
            if time.monotonic() > deadline:
                self._trouble = _not_up(f"{timeout_s:g} s went by", self._others, IN_TIME)
        if self._trouble is not None:
            self.stop()
            raise self._trouble
        return self

    def run(self) -> None:
        """Start, wait for Ctrl-C or SIGTERM, and stop; to be called from the main thread."""
        asked = threading.Event()
        before = {
            number: signal.signal(number, lambda *_: asked.set())
            for number in (signal.SIGINT, signal.SIGTERM)
        }
        try:
            with self:
                while not asked.wait(0.5):
                    pass
        finally:
            for number, handler in before.items():
                signal.signal(number, handler)

    def stop(self) -> None:
        """Stop everything, in at most the grace and two seconds; what is unfinished is kept."""
        self._stop.set()
        if self._thread.ident is not None:
            self._thread.join()
        if self._awake is not None:
            self._awake.close()
        if self._server is not None:
            self._server.close()
            self._server = None

    def __enter__(self) -> Self:
        return self.start()

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.stop()

    def _supervise(self) -> None:
        try:
            self._start_all()
            while not self._stop.wait(0.2):
                self._keep_all()
                if not self._up.is_set() and self._answers():
                    self._up.set()
        except GlimsumError as error:
            self._trouble = error
        except OSError as error:
            self._trouble = StoreError("the service can't run", seen=str(error))
        finally:
            self._stop_all()

    def _start_all(self) -> None:
        folder = self.settings.state_folder
        logs = folder / "logs"
        logs.mkdir(parents=True, exist_ok=True, mode=0o700)
        environment = dict(os.environ) | self.settings.environment() | ONE_THREAD
        environment[variable("port")] = str(self.port)
        if self._server is not None:
            command = self._server.command
            self._server_process = BoundProcess("server", command, os.environ, logs / "server.log")
            self._server_process.start()
            self._wait_for_server(self._server_process)
            environment.pop(variable("broker"), None)
            environment[f"{variable('broker')}_FILE"] = str(self._server.write_url())
        else:
            environment[variable("broker")] = self.settings.broker
        serve = [sys.executable, "-m", "uvicorn", self._api_factory, "--factory"]
        serve += ["--host", self.settings.host, "--port", str(self.port), "--no-access-log"]
        serve += ["--log-level", "warning", "--timeout-graceful-shutdown", "2"]
        self._others.append(BoundProcess("api", serve, environment, logs / "api.log"))
        if self._worker_command:
            environment = environment | KEEP_PAGES
            environment |= kept_kernels(self.settings.state_folder, environment)
            worker = BoundProcess("worker", self._worker_command, environment, logs / "worker.log")
            self._others.append(worker)
        for each in self._others:
            each.start()

    def _wait_for_server(self, process: BoundProcess) -> None:
        client = connect(self.broker)
        deadline = time.monotonic() + 30
        try:
            while not self._stop.is_set():
                if process.process_id is None or time.monotonic() > deadline:
                    raise StoreError(
                        "our server of queue and ledger does not start",
                        place=Place(file=str(process.log)),
                        seen=process.last_words(),
                        expected="a server that answers within 30 s",
                        remedy="Free disk space in the state folder, or look into the log.",
                    )
                with suppress(Exception):
                    if client.ping():
                        return
                time.sleep(0.02)
        finally:
            client.close()

    def _keep_all(self) -> None:
        if self._server and self._server_process:
            if self._server_process.process_id is None and self._server.drop_ballast():
                log.error("the disk of the state folder is full: reserve freed; make room")
            elif time.monotonic() - self._looked_at > 60:
                self._looked_at = time.monotonic()
                self._server.store_ballast()
            self._keep(self._server_process)
        for each in self._others:
            self._keep(each)

    def _keep(self, process: BoundProcess) -> None:
        code = process.keep()
        if not self._up.is_set() and process.starts > MOST_FIRST_STARTS:
            raise _not_up(f"its {process.name} ended {MOST_FIRST_STARTS} times", [process], MEND)
        if code is not None:
            log.warning("%s ended (%d), is started again; log: %s", process.name, code, process.log)

    def _answers(self) -> bool:
        try:
            with socket.create_connection((self.settings.host, self.port), 0.5):
                pass
        except OSError:
            return False
        if not self._worker_command:
            return True
        client = connect(self.broker)
        try:
            return bool(Machines(client).heard_within(10))
        except StoreError:
            return False
        finally:
            client.close()

    def _stop_all(self) -> None:
        for each in self._others:
            each.ask_to_stop()
        deadline = time.monotonic() + self.settings.grace_s + 1
        for each in self._others:
            if not each.end(deadline):
                log.warning("%s did not stop in time and was ended", each.name)
        if self._server_process is not None:
            self._server_process.ask_to_stop()
            self._server_process.end(time.monotonic() + 2)


def _not_up(why: str, parts: Sequence[BoundProcess], remedy: str) -> StoreError:
    """Return the error of a service that did not come up, with the last line each part said."""
    lines = [each.last_words().rpartition("\n")[2].strip() or "no words" for each in parts]
    said = (
        lines if len(parts) == 1 else [f"{p.name}: {s}" for p, s in zip(parts, lines, strict=True)]
    )
    return StoreError(
        f"the service did not come up: {why}",
        place=Place(file=", ".join(str(each.log) for each in parts)),
        seen="; ".join(said),
        expected="an API that answers and a worker that announces itself",
        remedy=WHOLE if any(line.startswith(NOT_WHOLE) for line in lines) else remedy,
    )


def _free_port(host: str, port: int) -> int:
    """Return `port` if nobody listens there, or a free one for 0.

    Raises
    ------
    StoreError
        It is in use, or the address is not this machine's.
    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as error:
            raise StoreError(
                "the page can't be served at this address",
                place=Place(field="port"),
                seen=f"{host}:{port}: {error.strerror}",
                expected="an address of this machine and a free port",
                remedy="Set GLIMSUM_PORT to another number, or stop what listens there.",
            ) from error
        return int(probe.getsockname()[1])
