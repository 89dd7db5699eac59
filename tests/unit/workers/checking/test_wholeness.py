"""Files that are cut off, empty or of another kind: found by the check, before any frame."""

from pathlib import Path
from typing import Any

import numpy as np
import OpenImageIO
import pytest
import tifffile
from PIL import Image

from glimsum_jobs.ledger import ItemState, RunState, Stage
from glimsum_jobs.measurements import Checked
from glimsum_jobs.problems import Problem, Rank
from glimsum_workers.check_shot import check_shot
from glimsum_workers.frames.roots import Roots
from support.run_here import open_run, work_through
from support.small_shots import grain, small_roots, small_shot, write_exr_pass

KINDS = ["jpg", "png", "dpx", "tif", "exr"]


def write_still(folder: Path, number: int, kind: str) -> Path:
    """Write a picture with grain, so that no kind packs it into its header."""
    codes = np.clip(grain(number) * 255, 0, 255).astype(np.uint8)
    path = folder / f"a.{number:04}.{kind}"
    if kind == "exr":
        write_exr_pass(folder, "a", {number: grain(number)})[0].rename(path)
    elif kind == "tif":
        tifffile.imwrite(path, codes.astype(np.uint16) * 257, photometric="rgb")
    elif kind == "dpx":
        out = OpenImageIO.ImageOutput.create(str(path))
        assert out is not None
        spec = OpenImageIO.ImageSpec(64, 36, 3, "uint16")
        spec.attribute("oiio:BitsPerSample", 10)
        out.open(str(path), spec)
        out.write_image(codes.astype(np.uint16) * 257)
        out.close()
    else:
        Image.fromarray(codes).save(path, quality=95)
    return path


def shot_of(kind: str, **more: Any) -> Any:
    space = "lin_ap1_scene" if kind == "exr" else "srgb_rec709_scene"
    each = {"files": f"plates:a.%04d.{kind}", "space": space, "exposure": {"stops": 0}, **more}
    return small_shot(passes={"key": each})


def check(folder: Path, kind: str, **more: Any) -> Checked:
    return check_shot(shot_of(kind, **more), Roots(small_roots(folder)))


def only_frame(checked: Checked) -> Problem:
    assert not checked.refused, [str(problem) for problem in checked.problems]
    (problem,) = [each for each in checked.problems if each.rank is Rank.STOPS_FRAME]
    return problem


@pytest.mark.parametrize("kind", KINDS)
def test_whole_files_are_whole(tmp_path: Path, kind: str) -> None:
    for number in (1, 2, 3):
        write_still(tmp_path, number, kind)

    assert check(tmp_path, kind).problems == ()


@pytest.mark.parametrize("share", [0.97, 0.5, 0.1])
@pytest.mark.parametrize("number", [1, 2])
@pytest.mark.parametrize("kind", KINDS)
def test_a_file_cut_off_anywhere_stops_its_frame_at_the_check(
    tmp_path: Path, kind: str, number: int, share: float
) -> None:
    paths = {n: write_still(tmp_path, n, kind) for n in (1, 2, 3)}
    whole = paths[number].read_bytes()
    size = int(len(whole) * share)
    paths[number].write_bytes(whole[:size])

    problem = only_frame(check(tmp_path, kind))

    assert problem.place.frame == 1000 + number
    assert problem.place.file == f"plates:a.{number:04}.{kind}"
    assert problem.seen
    assert problem.expected
    if problem.what == "the picture is cut off" and "bytes" in problem.seen:
        assert str(size) in problem.seen


@pytest.mark.parametrize("kind", KINDS)
def test_an_empty_file_stops_its_frame_with_its_size(tmp_path: Path, kind: str) -> None:
    for number in (1, 2, 3):
        write_still(tmp_path, number, kind)
    (tmp_path / f"a.0002.{kind}").write_bytes(b"")

    problem = only_frame(check(tmp_path, kind))

    assert (problem.what, problem.seen) == ("the file is empty", "0 bytes")
    assert (problem.place.frame, problem.place.file) == (1002, f"plates:a.0002.{kind}")


@pytest.mark.parametrize("number", [1, 3])
def test_content_of_another_kind_stops_its_frame_even_where_it_is_the_first(
    tmp_path: Path, number: int
) -> None:
    for each in (1, 2, 3):
        write_still(tmp_path, each, "png")
    write_still(tmp_path, number, "jpg").rename(tmp_path / f"a.{number:04}.png")

    problem = only_frame(check(tmp_path, "png"))

    assert problem.what == "the content is not what the ending .png says"
    assert (problem.seen, problem.expected) == ("jpeg", "png")
    assert (problem.place.frame, problem.place.file) == (
        1000 + number,
        f"plates:a.{number:04}.png",
    )


def test_a_pass_without_one_whole_file_refuses_the_shot_by_its_first(tmp_path: Path) -> None:
    for number in (1, 2, 3):
        (tmp_path / f"a.{number:04}.png").write_bytes(b"not a picture, but some text")

    checked = check(tmp_path, "png")

    (problem,) = [each for each in checked.problems if each.rank is Rank.STOPS_SHOT]
    assert problem.place.file == "plates:a.0001.png"
    assert problem.seen == "first bytes 6e 6f 74 20 61 20 70 69, 28 bytes in all"


def test_a_neighbour_that_is_whole_stands_in_for_a_dead_file(tmp_path: Path) -> None:
    paths = {n: write_still(tmp_path, n, "png") for n in (1, 2, 3)}
    paths[3].write_bytes(paths[3].read_bytes()[:-30])

    checked = check(tmp_path, "png", missing="nearest")

    assert checked.passes["key"].replaced == {3: 2}
    assert {problem.rank for problem in checked.problems} == {Rank.REMARK}
    assert any("number 2 stands in" in problem.expected for problem in checked.problems)


def test_a_flaw_only_decoding_can_show_sets_its_frame_aside_and_leaves_no_master(
    tmp_path: Path,
) -> None:
    """A changed byte inside packed pixels: the ends are right, the check can't see it."""
    paths = {n: write_still(tmp_path, n, "png") for n in (1, 2, 3)}
    flawed = bytearray(paths[2].read_bytes())
    flawed[len(flawed) // 2] ^= 0xFF
    paths[2].write_bytes(flawed)

    run = work_through(open_run(shot_of("png"), small_roots(tmp_path)))

    item = run.items(Stage.COMBINE)["1002"]
    assert run.checked.problems == ()
    assert item.state is ItemState.SET_ASIDE
    assert item.failure is not None
    assert "a.0002.png" in item.failure.message
    assert run.state is RunState.DONE_WITH_REMARKS
    assert sorted(run.combined) == [1001, 1003]
    assert len(list((run.folder / "master").iterdir())) == 2
