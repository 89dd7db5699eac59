"""The loops of a frame compiled beside the work, before the first frame asks for them."""

import logging
import os
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Sequence

from glimsum_services.bound import BIND

log = logging.getLogger(__name__)


class LoopsAhead:
    """One process beside the slots that compiles what is not kept yet, then ends.

    Nothing waits for it; a slot that needs a loop meanwhile waits for that loop or compiles it.
    It ends with this process, however that ends (Linux; elsewhere when it is done).

    Parameters
    ----------
    command : sequence of str
        The program; it ends with 0 when all is kept, else its last line says what is wrong.
    is_done : callable
        Whether all is kept already; asked before it is started.
    """

    def __init__(self, command: Sequence[str], is_done: Callable[[], bool]) -> None:
        self._command = list(command)
        self._is_done = is_done
        self._process: subprocess.Popen[str] | None = None
        self._stopped = False

    def start(self) -> None:
        """Start it, unless all is kept; to be called from a thread that lives to the end."""
        if self._is_done():
            return
        bind = [sys.executable, "-I", "-S", "-c", BIND, str(os.getpid())]
        try:
            self._process = subprocess.Popen(  # noqa: S603  # our own command, no shell
                [*bind, *self._command],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.PIPE,
                text=True,
                errors="replace",
            )
        except OSError as error:
            _tell_failed(str(error))
            return
        log.info(
            "the loops of a frame are compiled beside the work, once for this machine and version: "
            "some 30 s of processor time"
        )
        waiting = (self._process, time.monotonic())
        threading.Thread(target=self._wait, args=waiting, name="loops", daemon=True).start()

    def stop(self) -> None:
        """End it if it is still at work; does not wait."""
        self._stopped = True
        if self._process is not None and self._process.poll() is None:
            self._process.terminate()

    def _wait(self, process: subprocess.Popen[str], began: float) -> None:
        words = process.communicate()[1].strip()
        if self._stopped:
            return
        if process.returncode == 0:
            log.info("the loops of a frame are compiled, after %.0f s", time.monotonic() - began)
        else:
            _tell_failed(words.rpartition("\n")[2] or f"it ended with {process.returncode}")


def _tell_failed(why: str) -> None:
    log.warning(
        "compiling the loops of a frame ahead went wrong; nothing is lost, but the first frames "
        "here may wait until they are compiled, some 30 s of processor time: %s",
        why,
    )
