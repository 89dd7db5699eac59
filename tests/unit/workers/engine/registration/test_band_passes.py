"""Bands of detail by compiled tiles, against SciPy's correlation with the same taps."""

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import correlate1d

from glimsum_workers.engine.registration.bands import ACROSS_LIGHTS, GENERAL, Band, pass_band

Numbers = NDArray[np.float64]
SIZES = ((37, 37), (64, 300), (131, 256), (33, 517))
"""One tile and less, several, and edges a pixel behind one (tiles of 32 x 256)."""
NARROW = np.array([1.0, 2.0, 1.0]) / 4


def mean(plane: Numbers, taps: Numbers) -> Numbers:
    across = correlate1d(plane, taps, axis=1, mode="nearest")
    return np.asarray(correlate1d(across, taps, axis=0, mode="nearest"), dtype=np.float64)


def wide_taps(band: Band) -> Numbers:
    taps = np.ones(1)
    for box in (4, 4, 4, band.last_box):
        taps = np.convolve(taps, np.ones(box) / box)
    return taps


@pytest.mark.parametrize("band", [GENERAL, ACROSS_LIGHTS])
@pytest.mark.parametrize("size", SIZES)
def test_a_band_is_a_narrow_mean_less_a_wide_one(size: tuple[int, int], band: Band) -> None:
    plane = 50 * np.random.default_rng(3).standard_normal(size).astype(np.float32)

    found = pass_band(plane, None, band)

    exact = plane.astype(np.float64)
    expected = mean(exact, NARROW) - mean(exact, wide_taps(band))
    np.testing.assert_allclose(found, expected, atol=3e-5)


@pytest.mark.parametrize("band", [GENERAL, ACROSS_LIGHTS])
def test_masked_pixels_count_as_the_mean_of_the_valid_ones_about_them(band: Band) -> None:
    random = np.random.default_rng(4)
    plane = 50 * random.standard_normal((131, 600)).astype(np.float32)
    valid = random.random(plane.shape) > 0.02
    valid[40:60, 300:330] = False
    valid[:, 530:] = True  # the last tiles hold nothing that is masked

    found = pass_band(plane, valid, band)

    exact, weight = np.where(valid, plane, 0).astype(np.float64), valid.astype(np.float64)
    taps = wide_taps(band)
    about = mean(exact, taps) / np.maximum(mean(weight, taps), 1e-3)
    filled = np.where(valid, exact, about)
    expected = np.where(valid, mean(filled, NARROW) - mean(filled, taps), 0)
    np.testing.assert_allclose(found, expected, atol=1e-4)
