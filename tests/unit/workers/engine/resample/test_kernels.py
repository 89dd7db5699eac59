"""The taps: moments, whole places, and how fine a fraction they tell apart.

The moments are the definition of reproducing constants and ramps (Strang and Fix, order 2).
"""

import numpy as np
import pytest

from glimsum_workers.engine.resample.kernels import TAPS, interpolation_taps, tap_count, tap_table

FRACTIONS = np.linspace(0, 1, 1001)


@pytest.mark.parametrize("stretch", [1.0, 1.01, 1.5, 2.0, 3.7])
def test_taps_sum_to_one_and_their_first_moment_is_the_fraction(stretch: float) -> None:
    taps = interpolation_taps(FRACTIONS, stretch)
    place = np.arange(len(taps)) - (len(taps) // 2 - 1)

    np.testing.assert_allclose(taps.sum(axis=0), 1.0, atol=1e-14)
    np.testing.assert_allclose(place @ taps, FRACTIONS, atol=1e-13)


def test_at_a_sample_the_taps_are_that_sample() -> None:
    at_first, at_second = interpolation_taps(np.array([0.0, 1.0])).T

    np.testing.assert_allclose(at_first, np.eye(TAPS)[3], atol=1e-15)
    np.testing.assert_allclose(at_second, np.eye(TAPS)[4], atol=1e-15)


def test_taps_mirror_with_the_fraction() -> None:
    taps = interpolation_taps(FRACTIONS)

    np.testing.assert_allclose(taps[::-1, ::-1], taps, atol=1e-14)


def test_half_way_taps_resemble_a_plain_windowed_sinc() -> None:
    """Against the window of SciPy, written out: only the small ramp correction is between."""
    from scipy.signal.windows import kaiser

    distance = np.arange(-3.5, 4.0)
    window = kaiser(8 * 1024 + 1, 4.5)[((distance + 4) * 1024).astype(int)]
    plain = np.sinc(distance) * window

    taps = interpolation_taps(np.array(0.5))

    np.testing.assert_allclose(taps, plain / plain.sum(), atol=1e-12)  # half way it is nothing


@pytest.mark.parametrize("stretch", [1.0, 1.5])
def test_taps_from_the_table_are_the_exact_ones_and_keep_their_moments(stretch: float) -> None:
    fraction = np.random.default_rng(1).random(4000, dtype=np.float32)
    table = tap_table(stretch)

    weights = np.stack(list(table.weigh(fraction))).astype(np.float64)

    exact = interpolation_taps(fraction.astype(np.float64), stretch)
    place = np.arange(table.taps) - (table.taps // 2 - 1)
    np.testing.assert_allclose(weights, exact, atol=2e-7)
    np.testing.assert_allclose(weights.sum(axis=0), 1.0, atol=5e-7)
    np.testing.assert_allclose(place @ weights, fraction, atol=1e-6)


def test_table_tells_apart_fractions_far_closer_than_its_nodes() -> None:
    fraction = (0.3 + np.arange(400) * 2.0e-6).astype(np.float32)

    weights = np.stack(list(tap_table().weigh(fraction)), axis=1)

    assert len(np.unique(weights, axis=0)) >= 390


def test_kernel_widens_only_for_a_picture_made_visibly_smaller() -> None:
    assert [tap_count(each) for each in (0.5, 1.0, 1.02, 1.5, 2.0)] == [8, 8, 8, 12, 16]
