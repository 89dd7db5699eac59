"""A run from its check to its end, and what it leaves on the disk."""

import hashlib
import json
import socket
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest

from glimsum_jobs.errors import LeaseLost, StoreError
from glimsum_jobs.ledger import STAGES, Claim, Control, Finish, ItemState, RunState, Stage
from glimsum_jobs.left_behind import LeftBehind
from glimsum_jobs.problems import Rank
from glimsum_jobs.shot import ShotJob
from glimsum_workers.frames.manifest import read_lines
from glimsum_workers.frames.sheets import draw_card
from glimsum_workers.perform import Performer
from support.run_here import HereRun, open_run, read_exr, run_here, work_through
from support.small_shots import (
    exr_pass,
    flat,
    grain,
    one_lamp,
    small_roots,
    small_shot,
    write_exr_pass,
)


@pytest.fixture
def plates(tmp_path: Path) -> Path:
    write_exr_pass(tmp_path, "key", {n: one_lamp(n) for n in (1, 2, 3)})
    write_exr_pass(tmp_path, "leak", {n: grain(n + 10) / 20 for n in (1, 2, 3)})
    return tmp_path


def job_of(**changes: Any) -> ShotJob:
    passes = {
        "key": exr_pass("key", ambient="leak", level="steady"),
        "leak": exr_pass("leak", use="ambient"),
    }
    return small_shot(**{"passes": passes, **changes})


def digests(run: HereRun) -> dict[str, str]:
    return {
        path.name: hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted((run.folder / "master").iterdir())
    }


def cut_off(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:-50])


def movie_frames(path: Path) -> Iterator[np.ndarray]:
    with av.open(str(path)) as movie:
        for frame in movie.decode(video=0):
            yield frame.to_ndarray(format="rgb24")


def test_a_sound_shot_ends_done_with_everything_in_its_place(plates: Path) -> None:
    run = run_here(job_of(viewing={"movie": "h264", "width": 64}), small_roots(plates))

    assert run.state is RunState.DONE
    assert list(digests(run)) == [f"small_v001.{n}.exr" for n in (1001, 1002, 1003)]
    assert run.finished.frames == 3
    assert run.finished.remarks == ()
    assert run.finished.bytes == sum(p.stat().st_size for p in (run.folder / "master").iterdir())
    for name in (run.finished.movie, run.finished.sheet, run.finished.manifest):
        assert name is not None
        assert (run.folder / name).stat().st_size > 0
    manifest = json.loads((run.folder / "manifest.json").read_text())
    assert [line["frame"] for line in manifest["frames"]] == [1001, 1002, 1003]
    assert {line["name"]: line["file_digest"] for line in manifest["frames"]} == digests(run)
    assert not list(run.folder.rglob("*.part"))


def test_a_dead_frame_is_set_aside_and_the_rest_of_the_shot_is_made(plates: Path) -> None:
    cut_off(plates / "key" / "key.0002.exr")

    run = run_here(job_of(viewing={"movie": "h264", "width": 64}), small_roots(plates))

    assert run.state is RunState.DONE_WITH_REMARKS
    assert run.items(Stage.COMBINE)["1002"].state is ItemState.SET_ASIDE
    assert list(digests(run)) == ["small_v001.1001.exr", "small_v001.1003.exr"]
    (named,) = [p for p in run.finished.remarks if p.rank is Rank.STOPS_FRAME]
    assert (named.place.frame, named.place.file) == (1002, "plates:key/key.0002.exr")
    assert run.finished.frames == 2


def test_the_movie_of_a_shot_with_a_dead_frame_keeps_its_length_with_a_card(plates: Path) -> None:
    cut_off(plates / "key" / "key.0002.exr")
    job = job_of(viewing={"movie": "h264", "width": 64})

    run = run_here(job, small_roots(plates))

    assert run.finished.movie is not None
    frames = list(movie_frames(run.folder / run.finished.movie))
    card = draw_card("small frame 1002 is set aside", 64, 36).astype(float)
    assert len(frames) == 3
    # H.264 loses a little: the card is nearer to the card than to any neighbour.
    off = [np.abs(frame.astype(float) - card).mean() for frame in frames]
    assert off[1] < 12
    assert min(off[0], off[2]) > 2 * off[1]


def test_two_runs_of_one_job_write_the_same_bytes(plates: Path) -> None:
    first = run_here(job_of(), small_roots(plates), version=1)
    second = run_here(job_of(), small_roots(plates), version=2)

    assert first.folder != second.folder
    assert list(digests(first).values()) == list(digests(second).values())
    assert len(set(digests(first).values())) == 3


def test_a_frame_combined_twice_with_a_new_token_is_one_file_of_the_same_bytes(
    plates: Path,
) -> None:
    whole = run_here(job_of(), small_roots(plates), version=2)
    run = work_through(open_run(job_of(), small_roots(plates)), until=Stage.COMBINE)
    first = run.ledger.claim("here/1", run.order.run)
    assert first is not None

    # The worker dies behind its rename; the frame is claimed and made again by another.
    Performer(run.ledger, run.roots, "here")(run.order, first, lambda: Control.RUN)
    run.ledger.release_worker("here")
    work_through(run)

    assert list(digests(run).values()) == list(digests(whole).values())
    assert not list(run.folder.rglob("*.part"))
    assert run.ledger.done(first, {"digest": run.combined[1001].digest}) is Finish.DUPLICATE
    manifest = json.loads((run.folder / "manifest.json").read_text())
    assert [line["frame"] for line in manifest["frames"]] == [1001, 1002, 1003]


def test_every_item_of_every_stage_leaves_a_line_before_the_ledger_hears_of_it(
    plates: Path,
) -> None:
    run = run_here(job_of(), small_roots(plates))

    lines = [LeftBehind.model_validate(each) for each in read_lines(run.folder / "lines").records]
    for stage in STAGES:
        kept = {line.item: line.result for line in lines if line.stage is stage}
        assert kept == {name: item.result for name, item in run.items(stage).items()}
    assert {line.host for line in lines} == {socket.gethostname()}
    assert [line.token for line in lines] == sorted({line.token for line in lines})


def test_a_lease_lost_before_the_rename_leaves_no_file(plates: Path) -> None:
    run = work_through(open_run(job_of(), small_roots(plates)), until=Stage.COMBINE)
    claim = run.ledger.claim("here/1", run.order.run)
    assert claim is not None
    asked: list[int] = []

    def lost_at_the_end() -> Control:
        asked.append(1)
        if len(asked) > 1:  # once before the only step, then right before the rename
            raise LeaseLost("another holds it")
        return Control.RUN

    with pytest.raises(LeaseLost, match="another holds it"):
        Performer(run.ledger, run.roots, "here")(run.order, claim, lost_at_the_end)

    assert list((run.folder / "master").iterdir()) == []


def test_a_damaged_master_is_found_at_the_finish_and_named(plates: Path) -> None:
    run = open_run(job_of(), small_roots(plates))

    def damage(stage: Stage) -> None:
        if stage is Stage.FINISH:
            path = run.master(1002)
            data = bytearray(path.read_bytes())
            data[-100] ^= 1
            path.write_bytes(data)

    work_through(run, before=damage)

    assert run.state is RunState.DONE_WITH_REMARKS
    (found,) = [p for p in run.finished.remarks if p.rank is Rank.STOPS_FRAME]
    assert found.what == "the master on the disk is not the one that was written"
    assert (found.place.frame, found.place.file) == (1002, "small_v001.1002.exr")
    assert found.expected == f"SHA-256 {run.combined[1002].file_digest}"
    assert run.finished.frames == 2


def test_a_frame_tried_again_after_its_file_was_put_right_is_named_for_its_level_alone(
    plates: Path,
) -> None:
    path = plates / "key" / "key.0002.exr"
    whole = path.read_bytes()
    cut_off(path)
    run = run_here(job_of(), small_roots(plates))
    path.write_bytes(whole)

    assert run.ledger.retry(run.order.run, Stage.COMBINE) == 1
    work_through(run)

    assert sorted(run.combined) == [1001, 1002, 1003]
    (left,) = run.finished.remarks
    assert left.what == "the level of pass key was not measured on this frame"
    assert (left.rank, left.place.frame) == (Rank.REMARK, 1002)
    assert run.state is RunState.DONE_WITH_REMARKS


def test_an_average_without_a_file_that_decoding_refuses_is_told(plates: Path) -> None:
    # Even pictures are packed with a checksum; grain that packing can't shrink is stored bare.
    path = write_exr_pass(plates, "leak", {n: flat([0.01] * 3) for n in (1, 2, 3)})[1]
    flawed = bytearray(path.read_bytes())
    flawed[-20] ^= 0xFF
    path.write_bytes(flawed)

    run = run_here(job_of(), small_roots(plates))

    assert run.checked.problems == ()
    (remark,) = run.finished.remarks
    assert (remark.place.pass_name, remark.seen) == ("leak", "2 files averaged")
    assert remark.expected == "3 files"
    assert run.finished.frames == 3


def test_a_refused_shot_makes_nothing(plates: Path) -> None:
    (plates / "key" / "key.0001.exr").rename(plates / "key.exr")
    job = job_of(passes={"key": exr_pass("gone"), "leak": exr_pass("leak", use="ambient")})

    run = run_here(job, small_roots(plates))

    assert run.state is RunState.REFUSED
    assert [path.name for path in run.folder.iterdir()] == ["lines"]


def test_light_that_an_operator_refuses_sets_its_frame_aside_with_pass_and_number(
    plates: Path,
) -> None:
    write_exr_pass(plates, "key", {n: np.abs(grain(n)) / 2 for n in (1, 2, 3)})
    write_exr_pass(plates, "hot", {n: np.abs(grain(n)) + 4 for n in (1, 2, 3)})
    passes = {"key": exr_pass("key"), "hot": exr_pass("hot")}
    recipe = [{"pass": "key"}, {"pass": "hot", "operator": "screen"}]

    run = run_here(job_of(passes=passes, recipe=recipe), small_roots(plates))

    failure = run.items(Stage.COMBINE)["1003"].failure
    assert failure is not None
    assert failure.kind == "LightError"
    assert "shot small, pass hot, frame 1003" in failure.message
    assert "expected: at most 1" in failure.message
    assert (run.finished.frames, run.finished.movie, run.finished.sheet) == (0, None, None)
    assert run.state is RunState.DONE_WITH_REMARKS


def test_an_item_without_its_earlier_stage_says_what_is_lacking(plates: Path) -> None:
    run = open_run(job_of(), small_roots(plates))
    claim = Claim(run=run.order.run, stage=Stage.COMBINE, item="1001", token=1, worker="here/1",
                  tries=0, lease_s=20)  # fmt: skip

    with pytest.raises(StoreError, match=r"no result of stage check of small/v001"):
        Performer(run.ledger, run.roots, "here")(run.order, claim, lambda: Control.RUN)


def test_masters_are_the_light_without_the_room(plates: Path) -> None:
    # One frame: nothing to steady, and the average of the leak is the leak.
    job = job_of(frames={"first": 1001, "last": 1001}, masters=[{"pixel": "float"}])
    for number in (2, 3):
        (plates / "leak" / f"leak.{number:04}.exr").unlink()

    run = run_here(job, small_roots(plates))

    expected = one_lamp(1) - grain(11) / 20
    np.testing.assert_allclose(read_exr(run.master(1001)), expected, rtol=1e-6, atol=1e-6)


def test_a_still_that_is_held_gives_the_same_light_on_every_frame(plates: Path) -> None:
    """What one frame takes from it must not be taken from the next one too."""
    write_exr_pass(plates, "sky", {1: flat([0.4, 0.4, 0.4])})
    sky = exr_pass("sky", dark={"level": [0.1, 0.1, 0.1]})
    passes = {
        "key": exr_pass("key"),
        "sky": sky | {"files": "plates:sky/sky.0001.exr", "exposure": {"stops": 1}},
    }
    job = job_of(passes=passes, recipe=[{"pass": "sky"}], unit="key", masters=[{"pixel": "float"}])

    run = run_here(job, small_roots(plates))

    for frame in (1001, 1002, 1003):
        np.testing.assert_allclose(read_exr(run.master(frame)), 0.15, rtol=1e-6)
