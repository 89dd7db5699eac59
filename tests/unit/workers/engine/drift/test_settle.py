"""Errors are averaged away where a camera stands; what it really does is kept."""

import numpy as np

from glimsum_workers.engine.drift.series import as_series
from glimsum_workers.engine.drift.settle import settle
from glimsum_workers.engine.drift.track import Step
from support.drift_tracks import SIZE, along


def test_frames_of_a_standing_camera_get_the_error_of_their_mean() -> None:
    # Source: the standard error of a mean, sigma / sqrt(n).
    shifts = np.random.default_rng(1).normal(0, 0.1, (64, 2))

    settled = settle(as_series(range(64), along(shifts, 0.1), SIZE), [])

    assert float(np.abs(settled.values[:, :2]).max()) < 0.06
    assert float(settled.sigma[:, :2].max()) < 0.05


def test_jitter_beyond_the_errors_is_kept() -> None:
    shifts = np.random.default_rng(2).normal(0, 0.1, (64, 2))

    settled = settle(as_series(range(64), along(shifts, 0.005), SIZE), [])

    np.testing.assert_allclose(settled.values[:, :2], shifts, atol=0.002)


def test_each_stretch_between_knocks_has_its_own_level() -> None:
    shifts = np.random.default_rng(3).normal(0, 0.02, (20, 2))
    shifts[10:] += 1.0
    series = as_series(range(20), along(shifts, 0.02), SIZE)

    settled = settle(series, [Step(10, 1.0, 1.0, 0.0, 1.0, 0.01)])

    np.testing.assert_allclose(settled.values[:10, :2], 0.0, atol=0.03)
    np.testing.assert_allclose(settled.values[10:, :2], 1.0, atol=0.03)
