"""Knocks are found where they are, and nowhere else."""

import numpy as np
import pytest
from scipy.stats import chi2

from glimsum_workers.engine.drift.series import Series, as_series
from glimsum_workers.engine.drift.steps import _chi2_limit, find_steps
from glimsum_workers.engine.motion import Motion
from support.drift_tracks import SIZE, Numbers, along, found


def drawn(shifts: Numbers, sigma_px: float = 0.003) -> Series:
    return as_series(range(len(shifts)), along(shifts, sigma_px), SIZE)


@pytest.mark.parametrize("chance", [1e-2, 1e-4, 1e-6])
def test_the_limit_is_that_of_chi_squared_on_four_degrees(chance: float) -> None:
    assert _chi2_limit(chance) == pytest.approx(float(chi2.isf(chance, 4)), rel=1e-6)


@pytest.mark.parametrize("frame", [1, 2, 5, 20, 38, 39])
def test_a_knock_is_found_before_its_frame_with_its_size(frame: int) -> None:
    rng = np.random.default_rng(frame)
    shifts = rng.normal(0, 0.01, (40, 2))
    shifts[frame:] += [0.3, -0.2]

    (step,) = find_steps(drawn(shifts), SIZE, walks=False)

    assert step.frame == frame
    assert np.hypot(step.dx - 0.3, step.dy + 0.2) < 0.05
    assert abs(step.dx - 0.3) < 4 * step.sigma


def test_two_knocks_are_told_apart() -> None:
    shifts = np.random.default_rng(5).normal(0, 0.02, (48, 2))
    shifts[17:] += [0.5, 0.1]
    shifts[23:] += [-0.4, 0.3]

    steps = find_steps(drawn(shifts), SIZE, walks=False)

    assert [step.frame for step in steps] == [17, 23]


def test_a_turn_of_the_camera_that_moves_the_centre_little_is_found_too() -> None:
    motions = [Motion(0.0, 0.0)] * 8 + [Motion(0.04, 0.0, 0.05, 1.0)] * 8
    series = as_series(range(16), {n: found(each) for n, each in enumerate(motions)}, SIZE)

    (step,) = find_steps(series, SIZE, walks=False)

    assert step.frame == 8
    assert step.rotation_deg == pytest.approx(0.05, abs=1e-3)
    assert step.scale == pytest.approx(1.0, abs=1e-6)


@pytest.mark.parametrize("frames", [8, 12, 48])
def test_jitter_is_no_knock(frames: int) -> None:
    rng = np.random.default_rng(frames)
    told = [len(find_steps(drawn(rng.normal(0, 0.04, (frames, 2))), SIZE, walks=False))
            for _ in range(40)]  # fmt: skip

    assert sum(told) <= 1


def test_a_drift_that_wanders_by_itself_is_no_knock_on_a_moving_camera() -> None:
    rng = np.random.default_rng(7)
    told = [
        len(find_steps(drawn(np.cumsum(rng.normal(0, 0.05, (24, 2)), axis=0)), SIZE, walks=True))
        for _ in range(30)
    ]

    assert sum(told) <= 1


def test_a_creeping_camera_is_no_knock() -> None:
    creep = 2.0 * (1 - np.exp(-np.arange(40) / 8))
    shifts = np.stack([creep, 0.3 * creep], axis=-1)
    shifts += np.random.default_rng(8).normal(0, 0.003, shifts.shape)

    assert find_steps(drawn(shifts), SIZE, walks=False) == ()


def test_a_single_bad_frame_is_no_knock() -> None:
    shifts = np.random.default_rng(9).normal(0, 0.01, (30, 2))
    shifts[12] += [0.6, 0.0]

    assert find_steps(drawn(shifts), SIZE, walks=False) == ()


def test_frames_that_are_not_known_are_passed_over() -> None:
    shifts = np.random.default_rng(10).normal(0, 0.01, (20, 2))
    shifts[10:] += 0.4
    registrations = along(shifts)
    for frame in (8, 9, 10):
        registrations[frame] = found(Motion(50.0, 50.0), trusted=False)

    (step,) = find_steps(as_series(range(20), registrations, SIZE), SIZE, walks=False)

    assert step.frame == 11
