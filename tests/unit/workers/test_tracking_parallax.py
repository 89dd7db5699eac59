"""Parallax and affine drift through the flows: measured, solved, taken out, written down, told."""

import json
import shutil
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import affine_transform

from glimsum_jobs.ledger import Stage
from glimsum_jobs.shot import ShotJob
from glimsum_jobs.tracks import Placed
from glimsum_workers.engine.motion import Affine, Motion
from glimsum_workers.engine.nearness import Nearness
from glimsum_workers.engine.parallax.laying import lay_field
from glimsum_workers.measuring.kept_pictures import motion_of
from glimsum_workers.writing.frame_fingerprint import fingerprint_of
from glimsum_workers.writing.master_attributes import ALIGNMENT
from support.near_and_far import Floats, Layers
from support.run_here import HereRun, read_exr, run_here
from support.small_shots import exr_pass, small_roots, small_shot, write_exr_pass

FRAMES = (1001, 1002, 1003)
SCENE = Layers(5)
NEAR_A_FRAME, FAR_A_FRAME = 3.0, 1.0
"""How far the layers move from a frame of the reference to the next, pixels to the right."""
DRIFT, NEARER = (0.6, -0.35), (0.2, 0.7)
"""Where the far layer of the pass lies, and how far the near one beyond it: not along the move."""
INNER = slice(16, -16)


def at(frame: int) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return the displacements of near and far in the reference."""
    number = frame - FRAMES[1]
    return (number * NEAR_A_FRAME, 0.0), (number * FAR_A_FRAME, 0.0)


def drifted(frame: int) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return the displacements of near and far in the pass."""
    near, far = at(frame)
    return (
        (near[0] + DRIFT[0] + NEARER[0], near[1] + DRIFT[1] + NEARER[1]),
        (far[0] + DRIFT[0], far[1] + DRIFT[1]),
    )


def grainy(picture: NDArray[np.floating], seed: int) -> NDArray[np.float32]:
    noise = np.random.default_rng(seed).normal(0, 0.002, picture.shape)
    return (picture + noise).astype(np.float32)


def write(folder: Path, lamp: Mapping[int, Floats], **job: object) -> ShotJob:
    beauty = {n: grainy(SCENE.see(*at(n)), n) for n in FRAMES}
    write_exr_pass(folder, "beauty", beauty)
    write_exr_pass(folder, "lamp", {n: grainy(0.4 * each, n + 50) for n, each in lamp.items()})
    return small_shot(
        camera=job.pop("camera", "moving"),
        passes={"beauty": exr_pass("beauty"), "lamp": exr_pass("lamp", **job)},
        recipe=[{"pass": "lamp"}],
        masters=[{"pixel": "float"}],
    )


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("parallax")


@pytest.fixture(scope="module")
def shot(folder: Path) -> HereRun:
    job = write(folder, {n: SCENE.see(*drifted(n)) for n in FRAMES}, align="field")
    return run_here(job, small_roots(folder))


def placed_on(shot: HereRun, frame: int) -> Placed:
    return shot.solved.tracks["lamp"].frames[frame]


def error_of(motion: Motion | Affine, nearness: Nearness) -> float:
    """Return the rms error of a displacement on frame 1002, pixels, length of the vector."""
    assert isinstance(motion, Motion)
    truth = SCENE.displacement(*drifted(1002))
    off = (lay_field(motion, nearness) - truth)[INNER, INNER]
    return float(np.sqrt(np.mean(np.sum(off**2, axis=-1))))


def test_near_and_far_are_found_where_they_are(shot: HereRun) -> None:
    nearness = shot.bench().pictures.nearness(1002)
    motion = motion_of(placed_on(shot, 1002))
    assert isinstance(motion, Motion)

    # What no shift can do: half of each layer is off by half of the parallax.
    assert error_of(replace(motion, parallax=(0.0, 0.0)), nearness) > 0.3
    assert error_of(motion, nearness) < 0.15
    # The sign matters: parallax the other way is worse than none.
    other_way = (-motion.parallax[0], -motion.parallax[1])
    assert error_of(replace(motion, parallax=other_way), nearness) > 0.5


def test_its_sigma_is_honest(shot: HereRun) -> None:
    # A nearness of one deviation: half of what lies between two layers of equal area.
    for frame in FRAMES:
        placed = placed_on(shot, frame)
        assert placed.parallax is not None
        assert placed.parallax_sigma_px is not None
        length = float(np.hypot(*placed.parallax))
        assert abs(length - np.hypot(*NEARER) / 2) < 3 * placed.parallax_sigma_px + 0.05


def test_the_pass_lies_on_the_reference_in_the_master(shot: HereRun, folder: Path) -> None:
    plain = shot.order.job.passes["lamp"].model_copy(update={"align": "similarity"})
    job = shot.order.job.model_copy(
        update={"passes": {**shot.order.job.passes, "lamp": plain}, "output": "out:plain"}
    )
    without = run_here(job, small_roots(folder))

    truth = 0.4 * SCENE.see(*at(1002))
    errors = [
        np.sqrt(np.mean((read_exr(run.master(1002))[..., :3] - truth)[INNER, INNER] ** 2))
        for run in (shot, without)
    ]
    assert errors[0] < 0.4 * errors[1]


def test_the_master_says_what_was_taken_out(shot: HereRun) -> None:
    import OpenEXR

    with OpenEXR.File(str(shot.master(1002))) as file:
        told = json.loads(file.header()[ALIGNMENT])["lamp"]
    assert told == placed_on(shot, 1002).model_dump(mode="json")
    assert len(told["parallax"]) == 2
    assert "matrix" not in told


def test_a_lost_nearness_is_made_again_bit_by_bit(shot: HereRun, folder: Path) -> None:
    bench = shot.bench()
    before, fingerprint = bench.pictures.nearness(1001), fingerprint_of(bench, 1001)
    made = bench.combine(1001, lambda: None).picture.rgb

    shutil.rmtree(folder / "out" / "small" / "kept")
    again = shot.bench()

    np.testing.assert_array_equal(again.combine(1001, lambda: None).picture.rgb, made)
    np.testing.assert_array_equal(again.pictures.nearness(1001).plane, before.plane)
    assert fingerprint_of(again, 1001) == fingerprint


def test_other_frames_of_the_reference_change_the_fingerprint(shot: HereRun) -> None:
    bench = shot.bench()
    fingerprint = fingerprint_of(bench, 1001)
    # Only its nearness depends on frame 1002 of the reference.
    path = shot.folder.parents[2] / "beauty" / "beauty.1002.exr"
    kept = path.read_bytes()
    try:
        write_exr_pass(path.parents[1], "beauty", {1002: grainy(SCENE.see(*at(1002)), 999)})
        assert fingerprint_of(shot.bench(), 1001) != fingerprint
    finally:
        path.write_bytes(kept)


def test_what_the_ledger_holds_stays_small(shot: HereRun) -> None:
    results = [item.result for item in shot.items(Stage.MEASURE).values()]
    assert max(len(json.dumps(each)) for each in results) < 2000


def test_a_camera_that_stands_is_told_of_and_gets_a_similarity(tmp_path: Path) -> None:
    job = write(
        tmp_path, {n: SCENE.see(*drifted(1002)) for n in FRAMES}, align="field", camera="locked"
    )
    write_exr_pass(tmp_path, "beauty", {n: grainy(SCENE.see(*at(1002)), n) for n in FRAMES})

    run = run_here(job, small_roots(tmp_path))

    assert all(each.parallax is None for each in run.solved.tracks["lamp"].frames.values())
    (told,) = (each for each in run.solved.problems if "no parallax is taken out" in each.what)
    assert "the camera is locked" in str(told.seen)


def test_a_pan_is_told_of_and_gets_a_similarity(tmp_path: Path) -> None:
    pan = {n: ((2.0 * (n - 1002), 0.0),) * 2 for n in FRAMES}
    job = write(tmp_path, {n: SCENE.see(*pan[n]) for n in FRAMES}, align="field")
    write_exr_pass(tmp_path, "beauty", {n: grainy(SCENE.see(*pan[n]), n) for n in FRAMES})

    run = run_here(job, small_roots(tmp_path))

    assert all(each.parallax is None for each in run.solved.tracks["lamp"].frames.values())
    (told,) = (each for each in run.solved.problems if "no parallax is taken out" in each.what)
    assert "against each other from frame to frame" in str(told.seen)
    assert "frames 1001 to 1003" in str(told.seen)


def test_a_pass_ahead_by_part_of_a_frame_is_told_of(tmp_path: Path) -> None:
    ahead = {
        n: ((at(n)[0][0] + 0.4 * NEAR_A_FRAME, 0.0), (at(n)[1][0] + 0.4 * FAR_A_FRAME, 0.0))
        for n in FRAMES
    }
    job = write(tmp_path, {n: SCENE.see(*each) for n, each in ahead.items()}, align="field")

    run = run_here(job, small_roots(tmp_path))

    (told,) = (each for each in run.solved.problems if "of a frame ahead of" in each.what)
    part = float(told.what.split(" is ")[1].split(" ")[0])
    assert part == pytest.approx(0.4, abs=0.05)


def rows_first(motion: Affine) -> Floats:
    """Return a motion as SciPy wants it: 3 x 3, row before column, sample centres at 0."""
    (a, b), (c, d) = motion.matrix
    turn = np.array([[d, c], [b, a]])
    middle = np.array(SCENE.size) / 2 - 0.5
    matrix = np.eye(3)
    matrix[:2, :2] = turn
    matrix[:2, 2] = middle - turn @ middle + [motion.dy, motion.dx]
    return matrix


def test_affine_drift_is_taken_out_and_written_down(tmp_path: Path) -> None:
    true = Affine(0.5, -0.3, ((1.004, 0.003), (-0.002, 0.998)))
    still = SCENE.see(*at(1002))
    lamp = np.stack(
        [affine_transform(still[..., c], rows_first(true.inverse()), order=5) for c in range(3)],
        axis=2,
    )
    job = write(tmp_path, dict.fromkeys(FRAMES, lamp), align="affine", camera="locked")
    write_exr_pass(tmp_path, "beauty", {n: grainy(still, n) for n in FRAMES})

    run = run_here(job, small_roots(tmp_path))

    placed = run.solved.tracks["lamp"].frames[1002]
    assert placed.matrix is not None
    corners = np.array([[0.0, 0.0], [320.0, 0.0], [0.0, 240.0], [320.0, 240.0]])
    off = motion_of(placed).at(corners, SCENE.size) - true.at(corners, SCENE.size)
    assert np.hypot(*off.T).max() < 0.1
    made = read_exr(run.master(1002))[..., :3]
    assert np.sqrt(np.mean((made - 0.4 * still)[INNER, INNER] ** 2)) < 0.006
