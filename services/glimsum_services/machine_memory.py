"""How much memory this machine gives a process, by the kernel's own words (Linux)."""

import os
from collections.abc import Iterator
from pathlib import Path

SHARE = 0.9
"""What slots may have of it; the rest is the service's own."""


def memory_bytes(root: Path = Path("/")) -> int:
    """Return the machine's memory, or what its control group may use if that is less.

    Parameters
    ----------
    root : Path
        Where ``proc`` and ``sys`` are mounted.

    Returns
    -------
    int
        Bytes (proc(5), cgroups(7): ``memory.max`` of version 2, ``memory.limit_in_bytes`` of 1).
    """
    return min(_limits(root), default=os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES"))


def slot_memory_bytes(slots: int, most_mib: int) -> int:
    """Return what one of `slots` may use: its share of the machine, at most `most_mib`."""
    return min(int(memory_bytes() * SHARE / slots), most_mib * 1024 * 1024)


def _limits(root: Path) -> Iterator[int]:
    for line in _read(root / "proc/meminfo").splitlines():
        if line.startswith("MemTotal:"):
            yield int(line.split()[1]) * 1024
    for line in _read(root / "proc/self/cgroup").splitlines():
        _, controllers, group = line.split(":", 2)
        version_1 = "memory" in controllers.split(",")
        if version_1 or not controllers:
            base = root / ("sys/fs/cgroup/memory" if version_1 else "sys/fs/cgroup")
            name = "memory.limit_in_bytes" if version_1 else "memory.max"
            # In a container the group's own folder is the mount itself.
            for folder in (base / group.lstrip("/"), base):
                text = _read(folder / name).strip()
                if text.isdecimal():
                    yield int(text)


def _read(file: Path) -> str:
    try:
        return file.read_text()
    except OSError:
        return ""
