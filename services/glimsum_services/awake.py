"""Keeping the machine from going to sleep while it works."""

import shutil
import subprocess
import sys
import time

WHY = "glimsum is combining frames"
COMMANDS = {
    "linux": ["systemd-inhibit", "--what=sleep:idle", "--who=glimsum", f"--why={WHY}", "cat"],
    "darwin": ["caffeinate", "-i", "cat"],
}
"""``cat`` ends with our end of its pipe, and the inhibitor with it, however this process ends."""


class Awake:
    """Holds the machine awake until `close`; `held` says whether it can."""

    def __init__(self) -> None:
        self._process: subprocess.Popen[bytes] | None = None
        command = COMMANDS.get(sys.platform)
        if command is None or shutil.which(command[0]) is None:
            return
        self._process = subprocess.Popen(  # noqa: S603  # a fixed command, no shell
            command,
            stdin=subprocess.PIPE,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )
        time.sleep(0.05)

    @property
    def held(self) -> bool:
        """Return whether sleep is held off now."""
        return self._process is not None and self._process.poll() is None

    def close(self) -> None:
        """Let the machine sleep again."""
        if self._process is not None and self._process.stdin is not None:
            self._process.stdin.close()
            try:
                self._process.wait(0.5)
            except subprocess.TimeoutExpired:
                self._process.kill()
                self._process.wait(1)
