"""What the system really reads after it was asked, as mincore(2) tells."""

import ctypes
import mmap
import os
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from glimsum_workers.frames.ahead import ask_ahead

MIB = 1024 * 1024
SIZE = 24 * MIB
"""More than a disk takes in one request (8 MiB where this was tried)."""


@pytest.fixture
def cold(tmp_path: Path) -> Iterator[int]:
    """An open file of which nothing is in memory."""
    if not hasattr(os, "posix_fadvise"):
        pytest.skip("this system takes no such hints")
    path = tmp_path / "key.0001.exr"
    path.write_bytes(os.urandom(SIZE))
    descriptor = os.open(path, os.O_RDONLY)
    os.fsync(descriptor)
    os.posix_fadvise(descriptor, 0, 0, os.POSIX_FADV_DONTNEED)
    try:
        if share_in_memory(descriptor) > 0:
            pytest.skip("this file system keeps its files in memory")
        yield descriptor
    finally:
        os.close(descriptor)


def share_in_memory(descriptor: int) -> float:
    """Return the share of a file's pages that a read would not wait for."""
    size = os.fstat(descriptor).st_size
    pages = (ctypes.c_ubyte * -(-size // mmap.PAGESIZE))()
    with mmap.mmap(descriptor, size, access=mmap.ACCESS_COPY) as seen:
        first = ctypes.c_ubyte.from_buffer(seen)
        libc = ctypes.CDLL(None, use_errno=True)
        address, length = ctypes.c_void_p(ctypes.addressof(first)), ctypes.c_size_t(size)
        assert libc.mincore(address, length, pages) == 0
        del first
    return sum(page & 1 for page in pages) / len(pages)


def wait_for(met: Callable[[], bool]) -> None:
    deadline = time.monotonic() + 20
    while not met():
        assert time.monotonic() < deadline, "not within 20 s"
        time.sleep(0.02)


def test_a_file_asked_for_comes_into_memory_whole_without_being_read(cold: int) -> None:
    ask_ahead(cold)

    wait_for(lambda: share_in_memory(cold) == 1)


def test_where_no_hint_is_known_nothing_happens(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delattr(os, "posix_fadvise", raising=False)
    path = tmp_path / "key.0001.exr"
    path.write_bytes(b"light")
    with path.open("rb") as file:
        ask_ahead(file.fileno())

        assert file.read() == b"light"


def test_what_takes_no_hint_is_left_alone() -> None:
    reading, writing = os.pipe()
    ask_ahead(reading)
    os.close(writing)
    os.close(reading)

    ask_ahead(reading)  # closed meanwhile
