"""Child processes bound to this one: they end when it ends, however it ends."""

import ctypes
import os
import signal
import subprocess
import sys
import time
from collections.abc import Mapping, Sequence
from contextlib import suppress
from pathlib import Path

PR_SET_PDEATHSIG = 1  # prctl(2), Linux

# Run between the supervisor and the program, which it becomes: nothing else can ask the kernel
# for the signal without running code in a forked copy of a process with threads.
BIND = """
import ctypes, os, sys
parent, program = int(sys.argv[1]), sys.argv[2:]
if sys.platform == "linux":
    ctypes.CDLL(None).prctl(1, 15, 0, 0, 0)
if os.getppid() != parent:
    sys.exit("the process that started this one is gone")
os.execvp(program[0], program)
"""

LONGEST_LOG_BYTES = 10 * 1024 * 1024


def die_with_parent(with_signal: signal.Signals) -> None:
    """Ask the kernel to send this process `with_signal` when its parent is gone (Linux only)."""
    if sys.platform == "linux":
        ctypes.CDLL(None).prctl(PR_SET_PDEATHSIG, int(with_signal), 0, 0, 0)


class BoundProcess:
    """A program that is kept running: started again when it ends, later each time.

    To be started and looked after from one thread that lives as long as the program should: the
    kernel takes the end of that thread for the end of the parent.

    Parameters
    ----------
    name : str
        What people call it; also the name of its log.
    command : sequence of str
        Program and arguments; no secret in them.
    environment : mapping
        The whole environment of the program.
    log : Path
        File its words go to; begun anew above 10 MiB, the old one kept as ``.old``.
    """

    def __init__(
        self, name: str, command: Sequence[str], environment: Mapping[str, str], log: Path
    ) -> None:
        self.name = name
        self.log = log
        self.starts = 0
        self._command = list(command)
        self._environment = dict(environment)
        self._process: subprocess.Popen[bytes] | None = None
        self._began = 0.0
        self._wait_s = 0.0
        self._not_before = 0.0

    @property
    def process_id(self) -> int | None:
        """Return the id of the running process, or None."""
        return self._process.pid if self._process and self._process.poll() is None else None

    def start(self) -> None:
        """Start the program once, in a session of its own (Ctrl-C reaches only us)."""
        if self.log.exists() and self.log.stat().st_size > LONGEST_LOG_BYTES:
            self.log.replace(self.log.with_suffix(".old"))
        bind = [sys.executable, "-I", "-S", "-c", BIND, str(os.getpid())]
        with self.log.open("ab") as words:
            self._process = subprocess.Popen(  # noqa: S603  # our own command, no shell
                [*bind, *self._command],
                stdin=subprocess.DEVNULL,
                stdout=words,
                stderr=words,
                env=self._environment,
                start_new_session=True,
            )
        self._began = time.monotonic()
        self.starts += 1

    def keep(self) -> int | None:
        """Start the program again if it ended and its wait is over; its exit code if it ended."""
        code = self._process.poll() if self._process else None
        if self._process is not None and code is None:
            if time.monotonic() - self._began > 30:
                self._wait_s = 0.0
            return None
        if self._process is not None:
            self._process = None
            self._not_before = time.monotonic() + self._wait_s
            self._wait_s = min(max(0.2, self._wait_s * 2), 10.0)
        if time.monotonic() >= self._not_before:
            self.start()
        return code

    def ask_to_stop(self) -> None:
        """Send SIGTERM if it runs."""
        if self._process and self._process.poll() is None:
            self._process.terminate()

    def end(self, deadline: float) -> bool:
        """Wait until `deadline` (monotonic), then kill its whole group; True if it went alone."""
        if self._process is None:
            return True
        alone = True
        try:
            self._process.wait(max(0.0, deadline - time.monotonic()))
        except subprocess.TimeoutExpired:
            alone = False
        with suppress(ProcessLookupError, PermissionError):  # the group is empty
            os.killpg(self._process.pid, signal.SIGKILL)
        self._process.wait(2)
        self._process = None
        return alone

    def last_words(self) -> str:
        """Return the end of its log."""
        try:
            return self.log.read_text(encoding="utf-8", errors="replace")[-1500:].strip()
        except OSError:
            return ""
