"""The random name of this worker, kept under a lock in the state folder."""

import fcntl
import os
from pathlib import Path
from secrets import token_hex

from glimsum_jobs.errors import StoreError
from glimsum_jobs.problems import Place

MOST_WORKERS = 64
"""Workers that may share one state folder."""


class MachineName:
    """A name nobody else uses while this object lives.

    Two workers on one state folder get two names. The lock belongs to the process and the
    processes it forks, so a name is free again only when all of them are gone.

    Parameters
    ----------
    state_folder : Path
        Made if absent.

    Raises
    ------
    StoreError
        All names of the folder are in use.
    """

    def __init__(self, state_folder: Path) -> None:
        folder = state_folder / "workers"
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        for number in range(1, MOST_WORKERS + 1):
            descriptor = os.open(folder / f"worker_{number}", os.O_RDWR | os.O_CREAT, 0o600)
            try:
                fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                os.close(descriptor)
                continue
            self._descriptor = descriptor
            self.name = os.read(descriptor, 64).decode().strip() or token_hex(6)
            os.pwrite(descriptor, f"{self.name}\n".encode(), 0)
            return
        raise StoreError(
            "too many workers share one state folder",
            place=Place(file=str(folder)),
            seen=f"{MOST_WORKERS} names in use",
            expected="one worker a machine, with as many slots as cores",
            remedy="Stop some workers, or give this one a state folder of its own.",
        )

    def close(self) -> None:
        """Let the name go."""
        os.close(self._descriptor)
