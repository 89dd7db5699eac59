"""Films of the quay, cast ray by ray, through the whole steady test: what it tells, and when not.

Truth: the camera of the ray caster itself (tests/support/clutter.py), moved by known amounts.
Scale by 2e-4 over a shot is what a warming rig does, a knock of 0.8 px what a foot does, 0.5 mm
what a rig may miss its place by (common practice, no source).
"""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from glimsum_jobs.problems import Problem
from glimsum_workers.check_shot import check_shot
from glimsum_workers.engine.motion import Motion
from glimsum_workers.frames.roots import Roots
from glimsum_workers.steady_test.flow import SteadyTest, run_steady_test
from support.clutter_pairs import Set
from support.small_shots import exr_pass, small_roots, small_shot, write_exr_pass

SIZE = (360, 640)
FRAMES = 8
SEED = 23
QUAY = Set(SEED, SIZE)
MOVED = Set(SEED, SIZE, moved=(0.0005, 0.0, 0.0))

Camera = Callable[[int], tuple[Set, Motion]]
"""Tells what is filmed on a frame, and from where."""


def jitter(frame: int) -> NDArray[np.float64]:
    return np.random.default_rng(600 + frame).normal(0, 0.02, 2)


def quiet(frame: int) -> tuple[Set, Motion]:
    dx, dy = jitter(frame)
    return QUAY, Motion(0.4 + dx, -0.3 + dy)


def warming(frame: int) -> tuple[Set, Motion]:
    dx, dy = jitter(frame)
    return QUAY, Motion(0.4 + dx, -0.3 + dy, 0.0, 1 + 2e-4 * frame / (FRAMES - 1))


def knocked(frame: int) -> tuple[Set, Motion]:
    dx, dy = jitter(frame) + (np.array([0.64, 0.48]) if frame >= 4 else 0)
    return QUAY, Motion(0.4 + dx, -0.3 + dy)


def elsewhere(frame: int) -> tuple[Set, Motion]:
    dx, dy = jitter(frame)
    return MOVED, Motion(0.4 + dx, -0.3 + dy)


def film(folder: Path, name: str, light: str, camera: Camera, seed: int) -> None:
    pictures = {}
    for frame in range(FRAMES):
        quay, motion = camera(frame)
        shot = quay.shoot(light, motion, seed + frame)
        pictures[1001 + frame] = np.repeat(shot.light[..., None], 3, axis=2)
    write_exr_pass(folder, name, pictures)


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> SteadyTest:
    """One locked shot whose passes each had another fate."""
    folder = tmp_path_factory.mktemp("films")
    film(folder, "reference", "full", lambda _: (QUAY, Motion(0.0, 0.0)), 100)
    fates = {"quiet": quiet, "warming": warming, "knocked": knocked, "elsewhere": elsewhere}
    for number, (name, camera) in enumerate(fates.items()):
        film(folder, name, "full", camera, 1000 * (number + 1))
    film(folder, "black", "full", lambda _: (QUAY, Motion(0.0, 0.0)), 9000)
    dark = np.random.default_rng(5)
    noise = {1001 + n: dark.normal(0, 1e-3, (*SIZE, 3)).astype("f4") for n in range(FRAMES)}
    write_exr_pass(folder, "black", noise)
    passes = {name: exr_pass(name) for name in ("reference", *fates, "black")}
    job = small_shot(
        frames={"first": 1001, "last": 1000 + FRAMES},
        reference="reference",
        passes=passes,
        recipe=[{"pass": name} for name in (*fates, "black")],
    )
    roots = Roots(small_roots(folder))
    return run_steady_test(job, check_shot(job, roots), roots, folder / "keep")


def remarks(told: SteadyTest, name: str) -> list[Problem]:
    return [problem for problem in told.problems if problem.place.pass_name == name]


def test_a_quiet_pass_and_the_reference_need_no_remark(told: SteadyTest) -> None:
    assert remarks(told, "quiet") == []
    assert remarks(told, "reference") == []


def test_a_warming_rig_is_told_with_its_growth(told: SteadyTest) -> None:
    (problem,) = remarks(told, "warming")
    assert "slowly grows" in problem.what
    corner = float(np.hypot(*SIZE)) / 2
    assert f"{2e-4 * corner:.2f} px in the corner between frames 1001 and 1008" in problem.what
    assert "let the rig warm up" in problem.what


def test_a_knock_is_told_once_with_frame_and_figures(told: SteadyTest) -> None:
    (problem,) = remarks(told, "knocked")
    assert "knocked before frame 1005" in problem.what
    assert problem.place.frame == 1005
    (knock,) = told.tracks["knocked"].knocks
    truth = np.array([0.64, 0.48])
    assert np.abs(np.array([knock.dx, knock.dy]) - truth).max() < 0.05
    assert f"{knock.dx:+.2f} px across and {knock.dy:+.2f} px down" in problem.seen
    assert problem.remedy


def test_a_camera_half_a_millimetre_off_is_told_with_place_and_remedy(told: SteadyTest) -> None:
    (problem,) = remarks(told, "elsewhere")
    assert "near and far parts of pass elsewhere" in problem.what
    assert "Shoot the pass again" in problem.remedy
    assert "of 8 frames" in problem.seen


def test_what_is_left_is_the_parallax_that_the_casting_camera_has(told: SteadyTest) -> None:
    left = told.left["elsewhere"]
    rows = np.array([[each.y, each.dx] for each in left.regions])
    # The camera moved to the right: near things (below) lie further left than far ones.
    near, far = rows[:, 0] > 0.8 * SIZE[0], rows[:, 0] < 0.2 * SIZE[0]
    assert rows[near, 1].mean() < -0.03
    assert rows[far, 1].mean() > 0.03
    still = told.left["quiet"]
    assert still.p95_px < 0.03
    assert left.p50_px > 4 * still.p50_px


def test_a_pass_that_shows_nothing_is_told_as_not_sure(told: SteadyTest) -> None:
    found = remarks(told, "black")
    assert any("not sure on 8 of 8 frames" in problem.what for problem in found)
    assert all("1001 to 1008" in problem.seen for problem in found)
    assert "black" not in told.left
