"""Storage that fills up, goes away, comes back or rots in mid-run: no frame is lost to it."""

import os
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from farm.conftest import wait_until
from farm.real_floor import RealFloor, job, made, make_plates, masters, real_floor
from farm.test_night import fill_disk
from glimsum_jobs.ledger import Cause, Control, RunState

pytestmark = pytest.mark.farm

FRAMES = 16


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    folder = tmp_path / "out"
    folder.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=60m", "tmpfs", str(folder)]
    if subprocess.run(mount, capture_output=True, check=False).returncode:
        pytest.skip("a small disk can be made by root only")
    yield folder
    subprocess.run(["umount", "-l", str(folder)], check=True)


def some_done(floor: RealFloor, run: str) -> None:
    wait_until(lambda: floor.done(run) >= 2, 60, "some frames are done")


def test_a_full_disk_under_the_masters_makes_the_run_wait_and_go_on_by_itself(
    tmp_path: Path, small_disk: Path, tell: Callable[[str], None]
) -> None:
    roots = {"plates": make_plates(tmp_path / "plates", FRAMES), "out": small_disk}
    with real_floor(tmp_path, roots, reserve_mib=8) as floor:
        run = floor.submit(job(FRAMES))
        some_done(floor, run)

        fill_disk(small_disk / "filling")
        noticed_s = floor.wait_for_words(run, "GB free on the disk of the root out")
        assert floor.record(run).state is RunState.PAUSED
        assert floor.record(run).control is Control.RUN
        done = floor.done(run)
        assert done < FRAMES
        (small_disk / "filling").unlink()
        record = floor.wait_for_end(run)

        assert record.state is RunState.DONE
        assert [i.failure for i in floor.frames(run) if i.failure] == []
        assert len(masters(small_disk, run)) == FRAMES
    tell(f"full disk after {done} of {FRAMES} frames: said after {noticed_s:.1f} s, 0 tries")


def test_a_root_that_goes_is_empty_and_comes_back_costs_no_frame(
    tmp_path: Path, tell: Callable[[str], None]
) -> None:
    plates, away = make_plates(tmp_path / "plates", FRAMES), tmp_path / "away"
    roots = {"plates": plates, "out": tmp_path / "out"}
    with real_floor(tmp_path, roots) as floor:
        run = floor.submit(job(FRAMES))
        some_done(floor, run)

        plates.rename(away)  # as an unmounted disk whose mount point is gone
        gone_s = floor.wait_for_words(run, "plates")
        plates.mkdir()  # as a mount point with nothing mounted
        floor.wait_for_words(run, "plates")
        plates.rmdir()
        away.rename(plates)
        record = floor.wait_for_end(run)

        assert record.state is RunState.DONE
        assert [i.failure for i in floor.frames(run) if i.failure] == []
        assert len(masters(tmp_path / "out", run)) == FRAMES
        assert sum(made(tmp_path / "out", run).values()) == FRAMES
    tell(f"root gone, empty, back: said after {gone_s:.1f} s, {FRAMES} frames, 0 tries")


def test_files_that_are_cut_off_or_vanish_in_mid_run_cost_their_frames_only(
    tmp_path: Path, tell: Callable[[str], None]
) -> None:
    plates = make_plates(tmp_path / "plates", FRAMES)
    with real_floor(tmp_path, {"plates": plates, "out": tmp_path / "out"}) as floor:
        run = floor.submit(job(FRAMES))
        some_done(floor, run)
        floor.link.ledger.control(run, Control.PAUSE)
        done = {item.item for item in floor.frames(run) if item.result or item.worker}
        cut, lost = plates / "key/key.0015.exr", plates / "fill/fill.0016.exr"
        assert not done & {"1015", "1016"}
        os.truncate(cut, cut.stat().st_size // 2)
        whole = lost.read_bytes()
        lost.unlink()
        floor.link.ledger.control(run, Control.RUN)
        record = floor.wait_for_end(run)

        aside = floor.set_aside(run)
        assert record.state is RunState.DONE_WITH_REMARKS
        assert sorted(aside) == ["1015", "1016"]
        assert len(masters(tmp_path / "out", run)) == FRAMES - 2
        for item, name in (("1015", "key.0015.exr"), ("1016", "fill.0016.exr")):
            failure = aside[item].failure
            assert failure is not None
            assert (failure.cause, aside[item].tries) == (Cause.BAD_SOURCE, 1)
            assert name in failure.message

        lost.write_bytes(whole)  # one is put right: retry makes that one
        assert floor.client.retry(run) == 2
        record = floor.wait_for_end(run)
        assert record.state is RunState.DONE_WITH_REMARKS
        assert sorted(floor.set_aside(run)) == ["1015"]
        assert set(made(tmp_path / "out", run).values()) == {1}
    tell(f"2 of {FRAMES} files spoilt: 2 frames set aside after 1 try, 1 made by retry")


def test_a_frame_too_big_for_the_memory_is_left_alone_and_the_number_said(tmp_path: Path) -> None:
    roots = {"plates": make_plates(tmp_path / "plates", 1, 2160, 3840), "out": tmp_path / "out"}
    with real_floor(tmp_path, roots, worker_memory_mib=1024, slots=1) as floor:
        run = floor.submit(job(1))
        floor.wait_for_words(
            run, "a frame needs about 1.3 GB of memory, a worker process has 1.1 GB", 60
        )
        view = floor.client.view(run)

        assert view.state is RunState.PAUSED
        assert "GLIMSUM_WORKER_MEMORY_MIB" in view.reason
