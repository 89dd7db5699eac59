"""A shot that uses everything a recipe can do, from its files to its masters and its movie.

Source of the truth: the places of the board in the modelled set, `tests/data/harbour/truth.json`.
The light of the board's own codes follows IEC 61966-2-1, computed here.
"""

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from glimsum_jobs.ledger import RunState
from glimsum_jobs.takes import Takes
from glimsum_services.demo.making import FULL_JOB_FILE, make_demo
from glimsum_services.job_file import read_job_file
from glimsum_services.rooted import root_job
from glimsum_services.workshop.drawing_takes import draw_takes
from support.harbour import shipped_harbour
from support.run_here import HereRun, read_exr, run_here

BOARD = np.array([10, 16, 34]) / 255
"""Ground of the tide board, display codes."""
GAIN = 2**0.5
"""As the recipe lays it on."""
RAIN = 2**-3.5
FRAMES = range(1001, 1009)


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> HereRun:
    folder = tmp_path_factory.mktemp("full")
    job_file = make_demo(folder).with_name(FULL_JOB_FILE)
    draw_takes(folder)
    roots = {"here": folder}
    (job,) = read_job_file(job_file).jobs
    return run_here(root_job(job, folder, roots), roots)


def light_of(codes: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4)


def board_corners(frame: int) -> NDArray[np.float64]:
    truth = shipped_harbour().frame_facts("reference", frame - FRAMES[0])
    return np.asarray(truth["sign_corners"], np.float64)


def on_board(corners: NDArray[np.float64], across: float, down: float) -> tuple[int, int]:
    """Return row and column of a place of the board, its sides counted 0..1."""
    top = corners[0] + across * (corners[1] - corners[0])
    bottom = corners[3] + across * (corners[2] - corners[3])
    x, y = top + down * (bottom - top)
    return int(y), int(x)


def test_the_shot_is_made_whole_and_nothing_needs_a_person(run: HereRun) -> None:
    assert run.state is RunState.DONE, [str(each) for each in run.finished.remarks]
    assert sorted(run.combined) == list(FRAMES)
    assert run.finished.movie is not None


@pytest.mark.parametrize("frame", [1001, 1005, 1008])
def test_the_board_shows_its_picture_where_the_set_has_it(run: HereRun, frame: int) -> None:
    master, corners = read_exr(run.master(frame)), board_corners(frame)

    # Left of the words and of the rigging, right inside the frame that is drawn on the board.
    rows, columns = zip(
        *(on_board(corners, across, down) for across in (0.07, 0.1) for down in (0.3, 0.5, 0.7)),
        strict=True,
    )
    shown = np.median(master[list(rows), list(columns)], axis=0)
    expected = GAIN * light_of(BOARD)
    # Grain of the plate and rain may lie on it; the wall beside it is ten times lighter.
    np.testing.assert_allclose(shown, expected, atol=0.01)


def test_the_frame_of_the_board_is_sharp_on_every_frame(run: HereRun) -> None:
    """The amber frame is 8 of 800 pixels wide: where the corners slip, it blurs or leaves."""
    for frame in FRAMES:
        master, corners = read_exr(run.master(frame)), board_corners(frame)
        places = [on_board(corners, 0.0225, down) for down in np.linspace(0.2, 0.8, 13)]
        edge = np.median([master[row, column] for row, column in places], axis=0)
        inside = [on_board(corners, 0.06, down) for down in np.linspace(0.2, 0.8, 13)]
        ground = np.median([master[row, column] for row, column in inside], axis=0)
        assert edge[0] > 3 * ground[0], (frame, edge, ground)


def test_rope_and_boom_stay_before_the_board(run: HereRun) -> None:
    """A place on the rope as drawn on the first frame; the picture below it is nearly black."""
    master = read_exr(run.master(1001))
    x, y = 576.5, 311.0  # midway between the ends of the drawn rope that lie on the board
    rope = master[int(y) - 1 : int(y) + 2, int(x) - 1 : int(x) + 2].max(axis=(0, 1))
    assert rope[1] > 4 * GAIN * light_of(BOARD)[1]


def test_the_flash_burns_on_its_cues_alone(run: HereRun) -> None:
    sky = {frame: float(read_exr(run.master(frame))[60:160, 420:900, 1].mean()) for frame in FRAMES}
    dark = np.median([level for frame, level in sky.items() if frame < 1006])
    assert sky[1006] > 3 * dark
    assert 1.2 * dark < sky[1007] < 0.6 * sky[1006]
    others = [level for frame, level in sky.items() if frame not in (1006, 1007)]
    np.testing.assert_allclose(others, dark, rtol=0.05)


def test_the_windows_are_lit_more_than_the_rest_of_the_wall(run: HereRun) -> None:
    """Step 3 lays the practicals on once more through the windows: 2^0.7 beside 2^1."""
    frame = 1005
    with run.bench().material:
        bench = run.bench()
        plain = bench.job.model_copy(
            update={"recipe": tuple(s for s in bench.job.steps if s.matte != "windows")}
        )
        whole = bench.combine(frame, lambda: None).picture.rgb
        bench.job = plain
        less = bench.combine(frame, lambda: None).picture.rgb
        bench.close()
    more = (whole - less).sum(axis=2)
    lit = more > 0.2 * more.max()
    rows, columns = np.nonzero(lit)
    moved = board_corners(frame).mean(axis=0) - board_corners(1001).mean(axis=0)
    drawn = np.array([[452, 299, 474, 323], [603, 300, 623, 324]]) + np.tile(moved, 2)
    inside = np.zeros(lit.shape, bool)
    for left, top, right, bottom in np.rint(drawn).astype(int):
        inside[top - 3 : bottom + 4, left - 3 : right + 4] = True
    assert lit.sum() > 300
    assert inside[rows, columns].all()


def test_the_fly_before_the_lens_of_one_take_is_not_in_the_master(run: HereRun) -> None:
    """`drawing_takes.TAKES`: in haze_b, on frame 1004, 30 pixels long, around (652, 118)."""
    frame, body = 1004, np.s_[112:124, 640:664]
    master = read_exr(run.master(frame))

    def combined(takes: Takes) -> NDArray[np.float32]:
        job = run.order.job.model_copy(update={"takes": {"haze": takes}})
        bench = replace(run, order=run.order.model_copy(update={"job": job})).bench()
        with bench.material:
            picture = bench.combine(frame, lambda: None).picture.rgb
            bench.close()
        return picture

    without = combined(Takes(of=("haze_a", "haze_c")))
    shown = combined(Takes(of=("haze_a", "haze_b", "haze_c"), combine="mean"))

    clean = without[body].mean(axis=(0, 1))
    # Haze is a third of the light there, and the darker of two takes is 2 % below it. A mean lets
    # a third of the fly through, which is what this would see.
    np.testing.assert_allclose(master[body].mean(axis=(0, 1)), clean, rtol=0.015)
    assert (shown[body].mean(axis=(0, 1)) < 0.95 * clean).all()
