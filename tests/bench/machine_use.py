"""Processor time of this process, its children and any other process, and what others used."""

import os
import resource
import time
from dataclasses import dataclass, field
from pathlib import Path

QUIET_CORES = 0.05
"""Above this use by others a wall time says nothing."""


def cpu_s() -> float:
    """Return processor time of this process and of all children it has waited for, s."""
    ended = resource.getrusage(resource.RUSAGE_CHILDREN)
    return time.process_time() + ended.ru_utime + ended.ru_stime


def cpu_of_s(process: int) -> float:
    """Return processor time of a running process, all its threads, s; 0 when it is gone (Linux).

    The kernel's clock of a process has the number ``(~id << 3) | 2``: clock_getcpuclockid(3) as
    glibc defines it.
    """
    try:
        return time.clock_gettime((~process << 3) | 2)
    except OSError:
        return 0.0


def children_of(process: int) -> list[int]:
    """Return the ids of the running children of a process (Linux)."""
    found = []
    for thread in Path(f"/proc/{process}/task").iterdir():
        found += [int(word) for word in (thread / "children").read_text("ascii").split()]
    return sorted(found)


def peak_mb(process: int | str = "self") -> float:
    """Return the most memory a process held since its program began, MB (Linux, proc(5) VmHWM).

    ``ru_maxrss`` is no use here: a child begins with the peak of the process that started it.
    """
    for line in Path(f"/proc/{process}/status").read_text("ascii").splitlines():
        if line.startswith("VmHWM:"):
            return int(line.split()[1]) * 1024 / 1e6
    raise LookupError(f"/proc/{process}/status has no VmHWM: not Linux, or no process")


def busy_s() -> float:
    """Return what all processors have worked so far, also for other machines on them, s."""
    numbers = Path("/proc/stat").read_text("ascii").splitlines()[0].split()[1:]
    idle_and_waiting = (3, 4)
    busy = sum(int(each) for at, each in enumerate(numbers[:8]) if at not in idle_and_waiting)
    return busy / os.sysconf("SC_CLK_TCK")


@dataclass
class Watch:
    """Tells who used the processors since it was made."""

    wall: float = field(default_factory=time.monotonic)
    busy: float = field(default_factory=busy_s)

    def others(self, own_s: float) -> float:
        """Return the cores that others used, given our processor time since then."""
        return max(0.0, (busy_s() - self.busy - own_s) / (time.monotonic() - self.wall))


def verdict(others: float) -> str:
    """Return what is to be said of wall times."""
    told = f"{others:.2f} cores used by others"
    return told if others <= QUIET_CORES else f"{told}: wall times INVALID"
