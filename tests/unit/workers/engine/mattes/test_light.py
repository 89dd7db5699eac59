"""Mattes of luminance and of difference, by hand and against the chi-square distribution."""

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.mattes.difference import matte_from_difference
from glimsum_workers.engine.mattes.luminance import matte_from_luminance
from glimsum_workers.engine.spaces import luminance_weights

SIGMAS = {"low": 3.0, "high": 6.0, "tolerance": 0.0}


def grey(*values: float) -> NDArray[np.float32]:
    return np.repeat(np.array([values], np.float32)[..., None], 3, axis=2)


def shot(level: NDArray[np.float64], seed: int) -> NDArray[np.float32]:
    """Return light with read noise of 0.002 and shot noise of 0.01 at 1."""
    sigma = np.sqrt(0.002**2 + 1e-4 * level)
    noise = np.random.default_rng(seed).normal(0, 1, level.shape)
    return (level + sigma * noise).astype(np.float32)


def test_a_weight_rises_evenly_in_light_and_falls_again() -> None:
    weights = np.array([0.2126, 0.7152, 0.0722])  # ITU-R BT.709-6, item 3.2
    light = grey(-0.1, 0.2, 0.275, 0.5, 1.9, 2.5, 4)

    rising = matte_from_luminance(light, weights, 0.2, 0.5)
    band = matte_from_luminance(light, weights, 0.2, 0.5, until=(2.0, 3.0))

    np.testing.assert_allclose(rising, [[0, 0, 0.25, 1, 1, 1, 1]], atol=1e-6)
    np.testing.assert_allclose(band, [[0, 0, 0.25, 1, 1, 0.5, 0]], atol=1e-6)


def test_luminance_is_that_of_the_working_space() -> None:
    # SMPTE RP 177 applied to BT.709 primaries gives Y = 0.2126 R + 0.7152 G + 0.0722 B.
    weights = luminance_weights("lin_rec709_scene")
    colours = np.eye(3, dtype=np.float32)[None]

    made = matte_from_luminance(colours, weights, 0.0, 1.0)

    np.testing.assert_allclose(made, [[0.2126, 0.7152, 0.0722]], atol=1e-4)


def test_noise_alone_reaches_a_difference_as_seldom_as_chi_square_says() -> None:
    # Three channels of normal noise: the sum of their squares over their variances is chi-square
    # of 3 degrees of freedom (Pearson 1900); 1.5 and 2 root mean square are 6.75 and 12 of it.
    level = np.broadcast_to(np.linspace(0.02, 1, 400)[None, :, None], (300, 400, 3))
    one, two = shot(level, 0), shot(level, 1)

    for sigmas in (1.5, 2.0):
        made = matte_from_difference(one, two, low=sigmas, high=sigmas + 1e-3, tolerance=0)
        expected = stats.chi2.sf(3 * sigmas**2, 3)
        assert float((made > 0.5).mean()) == pytest.approx(expected, rel=0.25)


def test_what_came_into_the_set_is_found_and_the_rest_is_not() -> None:
    plate = np.broadcast_to(np.linspace(0.05, 1, 200)[None, :, None], (120, 200, 3)).copy()
    moved = plate.copy()
    moved[40:80, 60:140] += 0.15

    made = matte_from_difference(shot(moved, 2), shot(plate, 3), **SIGMAS)

    assert float(made[42:78, 62:138].mean()) >= 0.99
    made[40:80, 60:140] = 0
    assert float(made.mean()) <= 1e-4


def test_a_lamp_that_flickers_within_the_tolerance_is_no_difference() -> None:
    plate = np.broadcast_to(np.linspace(0.3, 1, 200)[None, :, None], (120, 200, 3))
    one, two = shot(plate * 1.2, 4), shot(plate, 5)

    strict = matte_from_difference(one, two, **SIGMAS)
    easy = matte_from_difference(one, two, low=3, high=6, tolerance=0.1)

    assert float(strict.mean()) > 0.02
    assert float(easy.mean()) < 1e-3


def test_a_plate_of_another_size_is_refused() -> None:
    with pytest.raises(LightError, match=r"seen: 2 x 1 pixels; expected: 3 x 1 pixels"):
        matte_from_difference(grey(1, 2, 3), grey(1, 2), **SIGMAS)
