"""Alignment frames through the flows, on a quay with grooves painted dark.

Side light on such grooves moves what any method sees; the truth is the camera's.
"""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from glimsum_jobs.errors import JobError
from glimsum_jobs.tracks import PassTrack
from glimsum_workers.check_shot import check_shot
from glimsum_workers.engine.motion import STILL, Motion
from glimsum_workers.frames.roots import Roots
from glimsum_workers.steady_test.flow import run_steady_test
from support.clutter_film import Recorded
from support.clutter_pairs import Set
from support.small_shots import exr_pass, small_roots, small_shot, write_exr_pass

QUAY = Set(37, (270, 480), grooves=0.6)
PLACE = Motion(0.8, -0.4)
FRAMES = (1001, 1002, 1003)


def grey(shot: Recorded) -> NDArray[np.float32]:
    return np.repeat(shot.light[..., None], 3, axis=2)


def write(folder: Path) -> None:
    write_exr_pass(folder, "beauty", {n: grey(QUAY.shoot("full", STILL, 10 + n)) for n in FRAMES})
    for light in ("side", "flash", "practicals"):
        shots = {n: grey(QUAY.shoot(light, PLACE, 20 + n)) for n in FRAMES}
        write_exr_pass(folder, light, shots)
    write_exr_pass(folder, "key", {1: grey(QUAY.shoot("full", PLACE, 31))})


def track_of(folder: Path, keep: Path, **more: Any) -> tuple[PassTrack, list[str]]:
    camera, light = more.pop("camera", "locked"), more.pop("light", "side")
    lamp = exr_pass(light, align="similarity", **more)
    job = small_shot(
        camera=camera,
        passes={"beauty": exr_pass("beauty"), "lamp": lamp},
        recipe=[{"pass": "beauty"}, {"pass": "lamp"}],
    )
    roots = Roots(small_roots(folder))
    told = run_steady_test(job, check_shot(job, roots), roots, keep)
    return told.tracks["lamp"], [str(each) for each in told.problems]


def errors(track: PassTrack) -> list[float]:
    return [
        float(np.hypot(placed.dx - PLACE.dx, placed.dy - PLACE.dy))
        for placed in track.frames.values()
    ]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("alignment")
    write(made)
    return made


KEY = "plates:key/key.0001.exr"


@pytest.mark.parametrize(
    ("camera", "light"),
    [("locked", "side"), ("locked", "flash"), ("moving", "flash"), ("moving", "practicals")],
)
def test_the_light_no_longer_moves_the_pass(
    folder: Path, tmp_path: Path, camera: str, light: str
) -> None:
    shot = {"camera": camera, "light": light}
    without, _ = track_of(folder, tmp_path, **shot)
    placed, problems = track_of(folder, tmp_path, **shot, alignment_frame=KEY)

    assert min(errors(without)) > 0.03  # else nothing is tried here
    assert max(errors(placed)) < (0.012 if camera == "locked" else 0.03)
    for each, error in zip(placed.frames.values(), errors(placed), strict=True):
        assert each.trusted
        assert each.sigma_px is not None
        assert error < 3 * each.sigma_px
    assert max(each.sigma_px or 9 for each in placed.frames.values()) < 0.03
    assert not any("alignment" in each for each in problems)


def test_one_that_shows_nothing_is_named_and_left_out(folder: Path, tmp_path: Path) -> None:
    write_exr_pass(folder, "black", {1: np.zeros((*QUAY.size, 3), np.float32)})
    without, _ = track_of(folder, tmp_path)
    placed, problems = track_of(folder, tmp_path, alignment_frame="plates:black/black.0001.exr")

    assert placed.frames == without.frames
    assert any("the alignment frame of pass lamp is of no use" in each for each in problems)


@pytest.mark.parametrize(
    ("size", "told"),
    [(None, r"nowhere\.exr"), ((90, 160), "160 x 90 pixels.*480 x 270")],
)
def test_one_that_is_missing_or_of_another_size_stops_the_shot(
    folder: Path, tmp_path: Path, size: tuple[int, int] | None, told: str
) -> None:
    file = "plates:nowhere.exr"
    if size is not None:
        write_exr_pass(folder, "small", {1: np.ones((*size, 3), np.float32)})
        file = "plates:small/small.0001.exr"

    with pytest.raises(JobError, match=told):
        track_of(folder, tmp_path, alignment_frame=file)
