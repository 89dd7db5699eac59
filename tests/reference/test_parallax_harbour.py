"""Parallax of the harbour's passes against the exact flow of its cameras.

Source: depth and cameras of the harbour data (ray-traced; public domain). The camera of beauty
and flash stood up to 0.3 mm beside that of the reference, haze's 0.3 mm before it: no shift,
rotation and scale brings beauty nearer than 0.14 px rms, flash 0.18, haze 0.05.
"""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from glimsum_workers.engine.drift.moving import solve_moving
from glimsum_workers.engine.drift.track import Track
from glimsum_workers.engine.motion import Motion
from glimsum_workers.engine.nearness import Nearness
from glimsum_workers.engine.parallax.find_nearness import find_nearness
from glimsum_workers.engine.parallax.laying import lay_field
from glimsum_workers.engine.registration.models import Model
from glimsum_workers.engine.registration.register import register
from support.harbour import HarbourShot, full_shot, require_full_harbour
from support.harbour_drift import REFERENCE, SIZE, prepared
from support.harbour_flow import DEPTH_FRAMES, exact_flow, rms_length

FRAMES = {"beauty": DEPTH_FRAMES, "haze": DEPTH_FRAMES, "flash": (5, 6)}
MOST_PX = 0.1


@pytest.fixture
def shot() -> HarbourShot:
    return full_shot(require_full_harbour(), "moving")


@cache
def nearness(frame: int) -> Nearness:
    beside = [
        prepared("moving", REFERENCE, each) if 0 <= each <= 9 else None
        for each in (frame + 1, frame - 1)
    ]
    return find_nearness(prepared("moving", REFERENCE, frame), *beside)


@cache
def track(name: str, model: Model) -> Track:
    cross = {
        frame: register(
            prepared("moving", REFERENCE, frame),
            prepared("moving", name, frame),
            model=model,
            nearness=nearness(frame),
        )
        for frame in FRAMES[name]
    }
    return solve_moving(cross, {}, {}, size=SIZE)


def left(shot: HarbourShot, name: str, model: Model, frame: int, turned: float = 1.0) -> float:
    """Return what is left of the exact flow, rms over the picture, pixels."""
    motion = track(name, model).at(frame)
    assert isinstance(motion, Motion)
    x, y = motion.parallax
    field = lay_field(replace(motion, parallax=(turned * x, turned * y)), nearness(frame))
    return rms_length(field - exact_flow(shot, name, frame))


@pytest.mark.parametrize("name", FRAMES)
def test_a_pass_lies_within_a_tenth_of_a_pixel_over_the_whole_picture(
    shot: HarbourShot, name: str
) -> None:
    for frame in FRAMES[name]:
        plain, ours = (left(shot, name, model, frame) for model in ("similarity", "field"))
        told = f"{name} {frame}: similarity {plain:.3f}, field {ours:.3f} px rms"
        assert ours <= MOST_PX, told


@pytest.mark.parametrize("name", ["beauty", "flash"])
def test_two_thirds_of_what_a_similarity_leaves_are_taken_out(shot: HarbourShot, name: str) -> None:
    for frame in FRAMES[name]:
        assert left(shot, name, "field", frame) <= 0.4 * left(shot, name, "similarity", frame)


def test_the_sign_of_the_parallax_is_held(shot: HarbourShot) -> None:
    # Mutation: parallax the other way leaves more than none at all.
    assert left(shot, "beauty", "field", 5, turned=-1.0) > 0.2
    assert left(shot, "flash", "field", 5, turned=-1.0) > 0.3


def test_nearness_follows_the_true_depth(shot: HarbourShot) -> None:
    from support.harbour import read_pixels

    for frame in DEPTH_FRAMES:
        depth = read_pixels(shot.truth / f"depth.{frame:04d}.exr")[..., 0]
        found = np.corrcoef(nearness(frame).full().ravel(), 1 / depth.ravel())[0, 1]
        assert found >= 0.96


@pytest.mark.parametrize("name", FRAMES)
def test_the_parallax_lies_within_its_sigmas_of_the_cameras_own(
    shot: HarbourShot, name: str
) -> None:
    solved = track(name, "field")
    assert solved.parallax_sigma_px is not None
    for place, frame in enumerate(solved.frames):
        motion = solved.at(frame)
        assert isinstance(motion, Motion)
        true = _best_parallax(exact_flow(shot, name, frame), nearness(frame))
        off = np.abs(np.array(motion.parallax) - true)
        assert off.max() <= 3 * solved.parallax_sigma_px[place]


def _best_parallax(flow: np.ndarray, near: Nearness) -> np.ndarray:
    """Return the parallax that, with a similarity, fits an exact flow best over a nearness."""
    height, width = flow.shape[:2]
    y, x = np.mgrid[:height, :width] + 0.5
    x, y = (x - width / 2) / 500, (y - height / 2) / 500
    one, none, full = np.ones_like(x), np.zeros_like(x), near.full()
    columns = [(one, none), (none, one), (x, y), (-y, x), (full, none), (none, full)]
    table = np.stack([np.stack(each, axis=-1).ravel() for each in columns], axis=1)
    return np.asarray(np.linalg.lstsq(table, flow.ravel(), rcond=None)[0][4:])
