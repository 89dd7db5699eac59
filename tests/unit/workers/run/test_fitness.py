"""What a machine lacks for a run, in words that say what to do."""

import re
import shutil
from pathlib import Path
from types import SimpleNamespace

import pytest

from glimsum_jobs.elements import Element
from glimsum_jobs.measurements import Checked, FoundPass
from glimsum_jobs.memory import frame_memory_bytes
from glimsum_workers.frames.roots import Roots
from glimsum_workers.run.fitness import Fitness
from support.run_here import HereRun, OneOrder, open_run
from support.small_shots import exr_pass, flat, small_roots, small_shot, write_exr_pass

PLENTY = 2**60


def checked(width: int, height: int, passes: int = 1) -> Checked:
    found = FoundPass(first=1, width=width, height=height, count=3, covers=True)
    named = {f"p{number}": found for number in range(passes)}
    return Checked(passes=named, mattes={}, problems=(), needed_bytes=0, free_bytes=0)


@pytest.fixture
def run(tmp_path: Path) -> HereRun:
    write_exr_pass(tmp_path, "p0", {1: flat((1, 1, 1))})
    job = small_shot(passes={"p0": exr_pass("p0")})
    return open_run(job, small_roots(tmp_path))


def fitness(
    run: HereRun,
    found: Checked | None = None,
    roots: Roots | None = None,
    reserve: int = 0,
    memory: int = PLENTY,
) -> str:
    looked = Fitness(
        OneOrder(run.order),
        lambda _: found,
        roots or run.roots,
        reserve_bytes=reserve,
        slot_memory_bytes=memory,
    )
    return looked.lacks(run.order.run)


def test_a_machine_with_everything_lacks_nothing(run: HereRun) -> None:
    assert fitness(run, checked(64, 36)) == ""


def test_a_root_that_is_not_there_or_empty_is_named(run: HereRun, tmp_path: Path) -> None:
    empty = tmp_path / "empty"
    empty.mkdir()
    gone = Roots({"plates": tmp_path / "gone", "out": tmp_path / "out"})
    bare = Roots({"plates": empty, "out": tmp_path / "out"})
    strange = Roots({"out": tmp_path / "out"})

    assert re.search(r"storage: .*root plates can't be opened.*Mount", fitness(run, roots=gone))
    assert "the folder of the root plates is empty" in fitness(run, roots=bare)
    assert "no root of that name" in fitness(run, roots=strange)


def test_a_version_folder_that_is_not_there_means_another_disk(run: HereRun) -> None:
    (run.folder.parent / "kept").mkdir()
    shutil.rmtree(run.folder)

    assert fitness(run) == ("storage: the folder out:small/v001 is not there; is the disk mounted?")


def test_room_under_the_reserve_is_told_with_both_numbers(run: HereRun) -> None:
    told = fitness(run, reserve=2**50)

    assert re.fullmatch(
        r"room: [\d.]+ GB free on the disk of the root out, 1125899\.91 GB are kept "
        r"\(GLIMSUM_RESERVE_MIB\)",
        told,
    )


def test_a_frame_too_big_for_the_memory_is_refused_with_the_number(run: HereRun) -> None:
    # One pass of 8192 x 4320: 3 + 24 planes of 32 bits, and 300 MiB for the process.
    expected = 300 * 2**20 + 8192 * 4320 * 4 * 27
    assert frame_memory_bytes(run.order.job, checked(8192, 4320)) == expected

    told = fitness(run, checked(8192, 4320), memory=2 * 10**9)

    assert told.startswith("a frame needs about 4.1 GB of memory, a worker process has 2.0 GB: ")
    assert fitness(run, checked(1920, 1080), memory=2 * 10**9) == ""
    rain = Element(files="plates:rain.exr", space="lin_ap1_scene")
    more = run.order.job.model_copy(update={"elements": {"rain": rain}})
    assert frame_memory_bytes(more, checked(8192, 4320)) == expected + 8192 * 4320 * 4 * 10
    assert fitness(run, None, memory=2 * 10**9) == ""  # sizes are not known before the check


def test_room_for_the_ledger_is_looked_after_too(
    run: HereRun, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    free = [10**12]
    monkeypatch.setattr(shutil, "disk_usage", lambda _: SimpleNamespace(free=free[0]))
    looked = Fitness(
        OneOrder(run.order),
        lambda _: None,
        run.roots,
        reserve_bytes=2**20,
        slot_memory_bytes=PLENTY,
        ledger_folder=tmp_path,
    )
    assert looked.lacks(run.order.run) == ""

    free[0] = 2**19

    assert "free on the disk of the ledger's folder" in looked.lacks(run.order.run)
