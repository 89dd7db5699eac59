"""Pictures that mean harm: refused when opened, before any memory is taken for their pixels."""

import resource
import struct
import zlib
from pathlib import Path

import numpy as np
import OpenEXR
import pytest

from glimsum_jobs.errors import SourceError
from glimsum_jobs.paths import RootPath
from glimsum_workers.frames.roots import Roots
from unit.workers.frames.still_making import read

SIDE = 20_000


def chunk(kind: bytes, data: bytes) -> bytes:
    """Return a chunk of a PNG (PNG 3rd edition, 5.3)."""
    check = zlib.crc32(kind + data)
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", check)


def large_png(file: Path) -> None:
    """Write 20,000 x 20,000 black pixels of 8 bits: 400 MB of pixels in below 2 MB of file."""
    head = struct.pack(">IIBBBBB", SIDE, SIDE, 8, 0, 0, 0, 0)
    packer = zlib.compressobj(1)
    row = b"\0" * (1 + SIDE)
    body = b"".join(packer.compress(row) for _ in range(SIDE)) + packer.flush()
    file.write_bytes(
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", body) + chunk(b"IEND", b"")
    )


def many_channels(file: Path, count: int) -> None:
    header = {"compression": OpenEXR.ZIP_COMPRESSION, "type": OpenEXR.scanlineimage}
    planes = {f"c{number:04d}": np.zeros((2, 2), np.float16) for number in range(count)}
    with OpenEXR.File(header, planes) as made:
        made.write(str(file))


def peak_mib() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024  # KiB on Linux, getrusage(2)


def test_a_png_of_20000_by_20000_costs_no_memory(tmp_path: Path) -> None:
    large_png(tmp_path / "a.png")
    assert (tmp_path / "a.png").stat().st_size < 2_000_000
    before = peak_mib()
    with pytest.raises(SourceError, match=r"can't be opened.*a\.png.*20000.*16384 x 16384"):
        read(tmp_path / "a.png")
    assert peak_mib() - before < 64  # of the 381 MiB its pixels would take


@pytest.mark.parametrize("count", [65, 1000, 1024, 1100])
def test_a_picture_of_a_thousand_channels_is_refused(tmp_path: Path, count: int) -> None:
    many_channels(tmp_path / "a.exr", count)
    with pytest.raises(SourceError, match=rf"a\.exr.*{count}.*64 channels"):
        read(tmp_path / "a.exr")


def test_a_header_that_promises_more_than_there_is_takes_no_memory(tmp_path: Path) -> None:
    # 16,000 x 16,000 pixels are promised, a hundred bytes are there.
    head = struct.pack(">IIBBBBB", 16_000, 16_000, 16, 2, 0, 0, 0)
    file = tmp_path / "a.png"
    file.write_bytes(
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"\0" * 100))
    )
    before = peak_mib()
    with pytest.raises(SourceError, match=r"a\.png"):
        read(file)
    assert peak_mib() - before < 3000  # the reader may lay out what is promised, once


def test_a_hard_link_is_a_file_like_any_other_so_the_system_must_guard_it(tmp_path: Path) -> None:
    # proc(5): with fs.protected_hardlinks 1 nobody links to a file that he may not write. Whoever
    # may write below a root and into the file outside has no need of us to read it.
    (tmp_path / "plates").mkdir()
    outside = tmp_path / "outside.dpx"
    outside.write_bytes(b"outside")
    (tmp_path / "plates" / "a.dpx").hardlink_to(outside)
    with Roots({"plates": tmp_path / "plates"}).opened(RootPath("plates", "a.dpx")) as descriptor:
        assert descriptor > 2
    guard = Path("/proc/sys/fs/protected_hardlinks")
    if guard.exists():
        assert guard.read_text().strip() in ("0", "1")


def test_a_name_that_is_code_is_a_name(tmp_path: Path) -> None:
    name = "$(touch here) `touch here` ; touch here .png"
    (tmp_path / name).write_bytes(b"")
    with pytest.raises(SourceError, match=r"is empty"):
        read(tmp_path / name)
    assert [path.name for path in tmp_path.iterdir()] == [name]
