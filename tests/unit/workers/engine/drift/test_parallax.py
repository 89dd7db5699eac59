"""Parallax settled over a shot: noise drawn to the level, what light feigns let go."""

import numpy as np
import pytest

from glimsum_workers.engine.drift.moving import solve_moving
from glimsum_workers.engine.drift.parallax import RELIT_PX, hold_parallax, settle_parallax
from glimsum_workers.engine.motion import Motion, Registration

SIZE = (540, 960)
FRAMES = range(20)


def told(
    x: float, y: float, sigma: float = 0.02, pull: tuple[float, ...] = (0.0,) * 8
) -> Registration:
    return Registration(
        motion=Motion(0.5, -0.25, 0.01, 1.0001, (x, y)),
        sigma_px=0.03,
        corner_sigma_px=0.04,
        trusted=True,
        alarm=1.0,
        tiles=np.zeros((0, 5), np.float32),
        parallax_sigma_px=sigma,
        parallax_pull=pull,
    )


def noisy(x: float, y: float, sigma: float = 0.02, seed: int = 1) -> dict[int, Registration]:
    noise = np.random.default_rng(seed).normal(0, sigma, (len(FRAMES), 2))
    return {n: told(x + dx, y + dy, sigma) for n, (dx, dy) in zip(FRAMES, noise, strict=True)}


def test_a_camera_that_stood_elsewhere_all_along_is_known_better_than_by_any_frame() -> None:
    settled = settle_parallax(FRAMES, noisy(0.2, -0.1))

    off = settled.values - [0.2, -0.1]
    assert np.abs(off).max() < 0.012
    assert (settled.sigma_px <= np.hypot(0.02, RELIT_PX)).all()


def test_what_light_alone_feigns_is_let_go() -> None:
    settled = settle_parallax(FRAMES, noisy(0.03, 0.02))
    assert not settled.is_kept or np.abs(settled.values).max() < 0.01
    # In the same light the same figures are believed.
    assert settle_parallax(FRAMES, noisy(0.03, 0.02), relit_px=0.0).is_kept


def test_true_parallax_of_single_frames_is_kept() -> None:
    cross = {n: told(0.3 * np.sin(n), 0.0, 0.01) for n in FRAMES}
    settled = settle_parallax(FRAMES, cross)
    wanted = [each.motion.parallax[0] for each in cross.values() if isinstance(each.motion, Motion)]
    assert np.abs(settled.values[:, 0] - wanted).max() < 0.02


def test_a_frame_that_tells_nothing_gets_the_level_with_a_sigma_to_match() -> None:
    cross = noisy(0.2, -0.1)
    del cross[7]
    settled = settle_parallax(FRAMES, cross)
    assert settled.values[7] == pytest.approx([0.2, -0.1], abs=0.02)
    assert settled.sigma_px[7] >= settled.sigma_px[8] - 1e-9


def test_no_parallax_is_none() -> None:
    plain = {n: told(0.0, 0.0, np.inf) for n in FRAMES}
    settled = settle_parallax(FRAMES, plain)
    assert settled.measured == 0
    assert not settled.is_kept


def test_the_rest_of_the_motion_follows_a_parallax_held_elsewhere() -> None:
    pull = (0.5, 0.0, 0.2, 0.0, 0.0, -0.4, 0.0, 0.3)
    held = hold_parallax(told(0.1, 0.2, pull=pull), np.zeros(2), SIZE).motion

    assert isinstance(held, Motion)
    assert held.parallax == (0.0, 0.0)
    assert (held.dx, held.dy) == pytest.approx((0.5 - 0.05, -0.25 + 0.08))
    half = float(np.hypot(*SIZE)) / 2
    assert held.scale == pytest.approx(1.0001 - 0.02 / half, abs=2e-7)
    assert np.deg2rad(held.rotation_deg) == pytest.approx(np.deg2rad(0.01) - 0.06 / half, abs=2e-7)


def test_a_track_carries_parallax_and_its_sigma() -> None:
    track = solve_moving(noisy(0.2, -0.1), {}, {}, size=SIZE)
    motion = track.at(3)
    assert isinstance(motion, Motion)
    assert motion.parallax == pytest.approx((0.2, -0.1), abs=0.02)
    assert track.parallax_sigma_px is not None
    assert track.parallax_sigma_px.max() < 0.05
