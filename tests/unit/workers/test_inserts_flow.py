"""Screen inserts from their files into the frame: followed, laid, held out, told of."""

import csv
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from glimsum_jobs.errors import LightError
from glimsum_jobs.ledger import ItemState, RunState, Stage
from glimsum_jobs.problems import Problem
from glimsum_workers.checking.elements import look_at_insert
from glimsum_workers.engine.mattes.outline import cover_outline
from glimsum_workers.engine.planar.homography import carry
from glimsum_workers.frames.roots import Roots
from glimsum_workers.writing.frame_fingerprint import fingerprint_of
from support.flat_patches import BOARD, HEIGHT, WIDTH, film, moves, texture
from support.run_here import HereRun, read_exr, run_here
from support.small_shots import exr_pass, small_roots, small_shot, write_exr_pass

COUNT = 4
MOVES = moves(COUNT)
LIT = 5.0
"""Light of the insert, far above that of the plate."""

Floats = NDArray[np.float64]


def corners_on(frame: int) -> Floats:
    return carry(MOVES[frame], BOARD)


def mark(frame: int, points: Floats | None = None) -> dict[str, Any]:
    placed = corners_on(frame) if points is None else points
    return {"frame": 1001 + frame, "points": placed.tolist()}


def write_plates(folder: Path, lost: tuple[int, ...] = ()) -> Path:
    shown = film(texture(), MOVES)
    for frame in lost:
        shown[frame] = film(texture(30 + frame), {frame: MOVES[frame]})[frame]
    pictures = {1 + f: np.repeat(light[..., np.newaxis], 3, axis=2) for f, light in shown.items()}
    write_exr_pass(folder, "beauty", pictures)
    board = np.zeros((40, 60, 3), np.float32)
    board[...] = (LIT, 0.5 * LIT, 0.25 * LIT)
    write_exr_pass(folder, "board", {1: board})
    return folder


@pytest.fixture(scope="module")
def plates(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_plates(tmp_path_factory.mktemp("inserts"))


def job_of(told: dict[str, Any] | None = None, operator: str = "over", **more: Any) -> Any:
    insert = {
        "files": "plates:board/board.%04d.exr",
        "space": "lin_ap1_scene",
        "beyond": "hold",
        "grain": 0,
        "corners": [mark(0)],
    }
    settings = {
        "camera": "moving",
        "frames": {"first": 1001, "last": 1000 + COUNT},
        "passes": {"beauty": exr_pass("beauty")},
        "inserts": {"board": {**insert, **(told or {})}},
        "recipe": [{"pass": "beauty"}, {"insert": "board", "operator": operator}],
    }
    return small_shot(**{**settings, **more})


def run(plates: Path, told: dict[str, Any] | None = None, **more: Any) -> HereRun:
    out = plates / "out" / "small"
    version = 1 + len(list(out.glob("v*")))
    return run_here(job_of(told, **more), small_roots(plates), version=version)


@pytest.fixture(scope="module")
def made(plates: Path) -> HereRun:
    return run(plates)


def plate(plates: Path, frame: int) -> NDArray[np.float32]:
    return read_exr(plates / "beauty" / f"beauty.{1 + frame:04d}.exr")[..., :3]


def test_the_insert_goes_where_the_board_goes(plates: Path, made: HereRun) -> None:
    assert made.state is RunState.DONE
    for frame in range(COUNT):
        rgb = read_exr(made.master(1001 + frame))[..., :3]
        covered = cover_outline(corners_on(frame), (HEIGHT, WIDTH))
        lit = np.stack([covered * LIT * share for share in (1, 0.5, 0.25)], axis=2)
        # Porter & Duff 1984, over: what is covered hides the plate.
        wanted = lit + (1 - covered[..., np.newaxis]) * plate(plates, frame)
        # 0.05 pixel of place, times the light of the insert; half floats.
        np.testing.assert_allclose(rgb, wanted, atol=0.06 * LIT, rtol=2e-3)
        inside, outside = covered == 1, covered == 0
        np.testing.assert_allclose(rgb[outside], plate(plates, frame)[outside], rtol=2e-3)
        assert np.mean(np.abs(rgb[inside][:, 0] - LIT)) < 0.01


def test_what_a_screen_gives_off_is_added(plates: Path) -> None:
    laid = run(plates, operator="plus", frames={"first": 1001, "last": 1002})

    rgb = read_exr(laid.master(1002))[..., :3]
    inside = cover_outline(corners_on(1), (HEIGHT, WIDTH)) == 1
    np.testing.assert_allclose(
        np.median(rgb[inside][:, 0] - plate(plates, 1)[inside][:, 0]), LIT, rtol=2e-3
    )


def test_gain_tint_and_holdout_are_its_own(plates: Path) -> None:
    outline = [[0, 0], [130, 0], [130, HEIGHT], [0, HEIGHT]]
    told = {"stops": -2.0, "holdout": "left"}
    mattes = {"left": {"shape": [{"frame": 1001, "points": outline}]}}

    laid = run(plates, told, mattes=mattes, frames={"first": 1001, "last": 1001})

    rgb = read_exr(laid.master(1001))[..., :3]
    inside = cover_outline(BOARD, (HEIGHT, WIDTH)) == 1
    left, right = inside.copy(), inside.copy()
    left[:, 130:], right[:, :130] = False, False
    np.testing.assert_allclose(rgb[left], plate(plates, 0)[left], rtol=2e-3)
    np.testing.assert_allclose(rgb[right][:, 0], LIT / 4, rtol=2e-3)


def test_grain_is_that_of_the_plate(plates: Path) -> None:
    laid = run(plates, {"grain": "match", "stops": -3.0}, frames={"first": 1001, "last": 1001})

    rgb = read_exr(laid.master(1001))[..., :3]
    inside = cover_outline(BOARD, (HEIGHT, WIDTH)) == 1
    # The plate's noise has a standard deviation of 0.002 at any light.
    assert 0.001 < rgb[inside][:, 0].std() < 0.004
    again = run(plates, {"grain": "match", "stops": -3.0}, frames={"first": 1001, "last": 1001})
    assert np.array_equal(rgb, read_exr(again.master(1001))[..., :3])


def test_tracks_stand_beside_the_masters_as_json_and_csv(made: HereRun) -> None:
    folder = made.folder / "tracks"
    document = json.loads((folder / "insert_board.json").read_text("utf-8"))
    lines = (folder / "insert_board.csv").read_bytes().decode("utf-8").split("\r\n")
    rows = list(csv.DictReader(lines))

    assert sorted(path.name for path in folder.iterdir()) == [
        "insert_board.csv",
        "insert_board.json",
    ]
    assert (document["shot"], document["insert"], document["anchor"]) == ("small", "board", 1001)
    for frame, (told, row) in enumerate(zip(document["frames"], rows, strict=True)):
        assert told["frame"] == int(row["frame"]) == 1001 + frame
        assert np.abs(np.array(told["points"]) - corners_on(frame)).max() < 0.1
        assert [float(row["x3"]), float(row["y3"])] == told["points"][2]
        assert [float(row[f"m{r}{c}"]) for r in "123" for c in "123"] == told["matrix"]
        assert row["trusted"] == "true"


def test_a_frame_that_loses_the_board_is_set_aside_with_what_to_do(tmp_path: Path) -> None:
    laid = run(write_plates(tmp_path, lost=(3,)))

    items = laid.items(Stage.COMBINE)
    assert [items[str(f)].state for f in range(1001, 1005)] == [ItemState.DONE] * 3 + [
        ItemState.SET_ASIDE
    ]
    told = str(items["1004"].failure)
    assert "the corners of insert board are not known on this frame" in told
    assert "Mark the corners on frame 1004 too" in told
    remarks = [problem.what for problem in laid.solved.problems]
    assert "what insert board follows was lost on 1 frames" in remarks


def test_a_mark_on_the_lost_frame_brings_it_back(tmp_path: Path) -> None:
    laid = run(write_plates(tmp_path, lost=(3,)), {"corners": [mark(0), mark(3)]})

    assert laid.items(Stage.COMBINE)["1004"].state is ItemState.DONE
    rgb = read_exr(laid.master(1004))[..., :3]
    inside = cover_outline(corners_on(3), (HEIGHT, WIDTH)) == 1
    np.testing.assert_allclose(rgb[inside][:, 0], LIT, rtol=2e-3)


def test_marks_that_disagree_are_told_of_with_their_pixels(plates: Path) -> None:
    off = corners_on(3) + np.array([0.0, 4.0])

    laid = run(plates, {"corners": [mark(0), mark(3, off)]})

    (problem,) = [p for p in laid.solved.problems if "disagree" in p.what]
    assert (problem.place.field, problem.place.frame) == ("inserts.board", 1004)
    assert problem.seen.endswith("px from where the mark of frame 1001 is followed to")
    assert "marked 4." in problem.seen or "marked 3.9" in problem.seen


def test_a_locked_shot_on_which_nothing_moves_has_an_insert_that_stands(tmp_path: Path) -> None:
    still = {frame: np.eye(3) for frame in range(COUNT)}
    shown = film(texture(), still, noise=0.004)
    pictures = {1 + f: np.repeat(light[..., np.newaxis], 3, axis=2) for f, light in shown.items()}
    write_plates(tmp_path)
    write_exr_pass(tmp_path, "beauty", pictures)

    laid = run(tmp_path, camera="locked")

    frames = laid.solved.follows["insert:board"].frames.values()
    assert {each.matrix for each in frames} == {(1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0)}


def test_a_fingerprint_follows_what_changes_the_insert(plates: Path, made: HereRun) -> None:
    bench = made.bench()
    before = fingerprint_of(bench, 1002)
    prints = {before}
    for change in ({"stops": 0.5}, {"softness": 1.0}, {"tint_mired": 20.0}, {"grain": 0.5}):
        told = bench.job.inserts["board"].model_copy(update=change)
        bench.job = bench.job.model_copy(update={"inserts": {"board": told}})
        bench.inserts._job = bench.job
        prints.add(fingerprint_of(bench, 1002))
    bench.close()

    assert len(prints) == 5


def test_an_insert_that_was_not_followed_says_so(made: HereRun) -> None:
    bench = made.bench()
    none = bench.solved.model_copy(update={"follows": {}})

    with pytest.raises(LightError, match=r"corners of insert board are not known.*frame 1002"):
        bench.inserts.on_frame("board", 1002, none, (HEIGHT, WIDTH))
    bench.close()


def problems_of(plates: Path, told: dict[str, Any]) -> list[Problem]:
    return look_at_insert(job_of(told), "board", Roots(small_roots(plates))).problems


def test_files_that_end_too_early_refuse_the_shot(plates: Path) -> None:
    (problem,) = problems_of(plates, {"beyond": "refuse"})

    assert problem.what == "the insert ends before frame 1002"
    assert problem.place.field == "inserts.board"
    assert problem.seen == "files 1; none for frames 1002 to 1004"


def test_files_without_coverage_refuse_what_the_job_says_of_it(plates: Path) -> None:
    (problem,) = problems_of(plates, {"alpha": "straight"})

    assert problem.what == "the files of insert board hold no coverage"
    assert problem.seen == "channels R, G, B; alpha: straight"


def test_a_file_that_is_not_there_refuses_the_shot(plates: Path) -> None:
    (problem,) = problems_of(plates, {"files": "plates:board/none.%04d.exr"})

    assert "none" in str(problem)


def test_coverage_of_its_file_is_kept(tmp_path: Path) -> None:
    write_plates(tmp_path)
    rgba = np.full((40, 60, 4), 255, np.uint8)
    rgba[:, :30, 3] = 0
    Image.fromarray(rgba).save(tmp_path / "sign.png")
    told = {"files": "plates:sign.png", "space": "srgb_rec709_scene"}

    laid = run(tmp_path, told, frames={"first": 1001, "last": 1001})

    rgb = read_exr(laid.master(1001))[..., :3]
    np.testing.assert_allclose(rgb[95, 105], plate(tmp_path, 0)[95, 105], rtol=2e-3)
    np.testing.assert_allclose(rgb[95, 155], 1.0, rtol=3e-3)
