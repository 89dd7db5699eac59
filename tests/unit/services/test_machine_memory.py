"""The memory of this machine, from made-up files laid out as the kernel's documents say."""

from pathlib import Path

import pytest

from glimsum_services.machine_memory import memory_bytes, slot_memory_bytes

GIB = 2**30


def lay(root: Path, files: dict[str, str]) -> Path:
    for name, text in files.items():
        (root / name).parent.mkdir(parents=True, exist_ok=True)
        (root / name).write_text(text)
    return root


# proc(5): MemTotal in kB; cgroups(7) and the kernel's cgroup-v2.rst: "max" for no limit.
MEMINFO = {"proc/meminfo": f"MemTotal:       {8 * 2**20} kB\nMemFree: 1 kB\n"}


@pytest.mark.parametrize(
    ("files", "expected"),
    [
        ({}, 8 * GIB),
        ({"proc/self/cgroup": "0::/a\n", "sys/fs/cgroup/a/memory.max": "max\n"}, 8 * GIB),
        ({"proc/self/cgroup": "0::/a\n", "sys/fs/cgroup/a/memory.max": f"{GIB}\n"}, GIB),
        ({"proc/self/cgroup": "0::/\n", "sys/fs/cgroup/memory.max": f"{2 * GIB}\n"}, 2 * GIB),
        (
            {
                "proc/self/cgroup": "5:memory:/docker/x\n4:cpu,cpuacct:/\n",
                "sys/fs/cgroup/memory/memory.limit_in_bytes": f"{3 * GIB}\n",
            },
            3 * GIB,
        ),
    ],
)
def test_the_smallest_limit_counts(tmp_path: Path, files: dict[str, str], expected: int) -> None:
    assert memory_bytes(lay(tmp_path, MEMINFO | files)) == expected


def test_a_slot_has_its_share_and_never_more_than_is_set() -> None:
    assert slot_memory_bytes(10_000, 8192) == pytest.approx(memory_bytes() * 0.9 / 10_000, rel=0.01)
    assert slot_memory_bytes(1, 1) == 2**20
