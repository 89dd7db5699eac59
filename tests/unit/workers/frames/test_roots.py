import errno
import os
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from glimsum_jobs.errors import OutputError, PathError, SourceError
from glimsum_jobs.paths import RootPath
from glimsum_workers.frames import confined
from glimsum_workers.frames.roots import Roots


@pytest.fixture
def plates(tmp_path: Path) -> Path:
    root = tmp_path / "plates"
    (root / "haze").mkdir(parents=True)
    (root / "haze" / "a.dpx").write_bytes(b"inside")
    (tmp_path / "secret.dpx").write_bytes(b"outside")
    return root


@pytest.fixture(params=["kernel", "walk"])
def roots(request: pytest.FixtureRequest, plates: Path, monkeypatch: pytest.MonkeyPatch) -> Roots:
    if request.param == "walk":
        monkeypatch.setattr(confined, "_kernel_confines", lambda: False)
    return Roots({"plates": plates})


def read(roots: Roots, path: str) -> bytes:
    with roots.opened(RootPath("plates", path)) as descriptor:
        return os.read(descriptor, 100)


def test_a_file_below_its_root_opens(roots: Roots) -> None:
    assert read(roots, "haze/a.dpx") == b"inside"
    assert roots.list_folder(RootPath("plates", "haze")) == ["a.dpx"]
    assert roots.list_folder(RootPath("plates", "")) == ["haze"]
    assert roots.status(RootPath("plates", "haze/a.dpx")).st_size == 6


def link_file(plates: Path) -> str:
    (plates / "link.dpx").symlink_to(plates.parent / "secret.dpx")
    return "link.dpx"


def link_file_climbing(plates: Path) -> str:
    (plates / "haze" / "link.dpx").symlink_to("../../secret.dpx")
    return "haze/link.dpx"


def link_folder(plates: Path) -> str:
    (plates / "up").symlink_to(plates.parent)
    return "up/secret.dpx"


def link_to_link(plates: Path) -> str:
    (plates / "up").symlink_to("..")
    (plates / "two").symlink_to("up")
    return "two/secret.dpx"


def link_to_itself(plates: Path) -> str:
    (plates / "ring.dpx").symlink_to("ring.dpx")
    return "ring.dpx"


def link_through_the_process(plates: Path) -> str:
    (plates / "proc.dpx").symlink_to("/proc/self/cwd")
    return "proc.dpx"


@pytest.mark.parametrize(
    "attack",
    [
        link_file,
        link_file_climbing,
        link_folder,
        link_to_link,
        link_to_itself,
        link_through_the_process,
    ],
)
def test_a_link_that_leads_out_is_refused(
    roots: Roots, plates: Path, attack: Callable[[Path], str]
) -> None:
    path = attack(plates)

    with pytest.raises(PathError, match=f"leads out of its root.*plates:{path}"):
        read(roots, path)


def test_a_link_that_stays_inside_opens_where_the_kernel_holds_it(plates: Path) -> None:
    (plates / "same.dpx").symlink_to("haze/a.dpx")

    if not confined._kernel_confines():
        pytest.skip("this kernel has no openat2")
    assert read(Roots({"plates": plates}), "same.dpx") == b"inside"


def test_a_link_that_stays_inside_is_refused_by_the_portable_way(
    plates: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(confined, "_kernel_confines", lambda: False)
    (plates / "same.dpx").symlink_to("haze/a.dpx")

    with pytest.raises(PathError, match=r"leads out of its root"):
        read(Roots({"plates": plates}), "same.dpx")


def test_no_race_with_a_swapped_folder_reads_outside(roots: Roots, plates: Path) -> None:
    # Common practice, no source: checking a path and then opening it can be raced.
    outside = plates.parent / "elsewhere"
    outside.mkdir()
    (outside / "a.dpx").write_bytes(b"outside")
    stop = threading.Event()

    def swap() -> None:
        while not stop.is_set():
            (plates / "haze").rename(plates / "kept")
            (plates / "haze").symlink_to(outside)
            (plates / "haze").unlink()
            (plates / "kept").rename(plates / "haze")

    thread = threading.Thread(target=swap)
    thread.start()
    seen = set()
    until = time.monotonic() + 1
    try:
        while time.monotonic() < until:
            try:
                seen.add(read(roots, "haze/a.dpx"))
            except (PathError, SourceError):
                seen.add(b"refused")
    finally:
        stop.set()
        thread.join()

    assert seen == {b"inside", b"refused"}


def test_a_missing_file_is_named(roots: Roots) -> None:
    with pytest.raises(SourceError, match=r"no such file.*plates:haze/b\.dpx.*expected: b\.dpx"):
        read(roots, "haze/b.dpx")
    with pytest.raises(SourceError, match=r"no such file"):
        read(roots, "haze/a.dpx/c")


def test_a_pipe_is_refused_without_waiting(roots: Roots, plates: Path) -> None:
    os.mkfifo(plates / "pipe.dpx")

    with pytest.raises(SourceError, match=r"not a regular file.*a named pipe"):
        read(roots, "pipe.dpx")
    with pytest.raises(SourceError, match=r"not a regular file.*a folder"):
        read(roots, "haze")


def test_an_unknown_root_is_answered_with_those_known(roots: Roots) -> None:
    with pytest.raises(PathError, match=r"no root of that name.*seen: cards.*one of: plates"):
        roots.status(RootPath("cards", "a.dpx"))


def test_a_root_that_is_not_mounted_is_named(tmp_path: Path) -> None:
    with pytest.raises(SourceError, match=r"the root plates can't be opened.*No such file"):
        Roots({"plates": tmp_path / "gone"}).list_folder(RootPath("plates", ""))


def test_folders_for_output_are_made_below_the_root(roots: Roots, plates: Path) -> None:
    made = roots.make_folder(RootPath("plates", "out/v001/master"))

    assert made == plates / "out/v001/master"
    assert made.is_dir()
    assert roots.make_folder(RootPath("plates", "out/v001/master")) == made
    assert roots.free_bytes("plates") > 0


def test_folders_for_output_never_leave_the_root(roots: Roots, plates: Path) -> None:
    (plates / "up").symlink_to(plates.parent)

    with pytest.raises(PathError, match=r"leads out of its root"):
        roots.make_folder(RootPath("plates", "up/out"))
    assert not (plates.parent / "out").exists()


def test_a_file_in_the_way_of_a_folder_is_told(roots: Roots) -> None:
    with pytest.raises(OutputError, match=r"can't be made.*plates:haze/a\.dpx/v001"):
        roots.make_folder(RootPath("plates", "haze/a.dpx/v001"))


def test_the_kernel_call_answers_as_open_does(tmp_path: Path) -> None:
    folder = os.open(tmp_path, os.O_RDONLY)
    with pytest.raises(OSError, match=r"No such file") as caught:
        confined.open_beneath(folder, ("gone",), os.O_RDONLY)
    os.close(folder)

    assert caught.value.errno == errno.ENOENT
