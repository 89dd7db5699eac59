"""Noise at the ends of a matte goes, partial coverage stays what it is on the mean."""

import numpy as np
import pytest
from numpy.typing import NDArray

from glimsum_workers.engine.mattes.ends import clean_ends

SIGMA = 0.01


def noisy(weight: NDArray[np.float64], seed: int = 0) -> NDArray[np.float32]:
    noise = np.random.default_rng(seed).normal(0, SIGMA, weight.shape)
    return (weight + noise).astype(np.float32)


def halves() -> NDArray[np.float64]:
    weight = np.zeros((120, 160))
    weight[:, 80:] = 1
    return weight


def test_even_ends_become_exact() -> None:
    made = clean_ends(noisy(halves()))

    away = np.abs(np.arange(160) - 79.5) > 3
    assert float((made == halves())[:, away].mean()) >= 0.99


@pytest.mark.parametrize("value", [0.02, 0.03, 0.05, 0.5, 0.95, 0.98])
def test_a_band_of_partial_coverage_keeps_its_mean(value: float) -> None:
    # The mean of 1200 noisy pixels is right to SIGMA / sqrt(1200) = 0.0003; clamped noise of a
    # pixel two sigmas from its end adds 0.0085 SIGMA (integral of the normal tail). A band of
    # two or three sigmas may lose a third of one where it borders on its end.
    weight = halves()
    weight[:, 75:85] = value

    made = clean_ends(noisy(weight, 1))

    within = 0.0012 if 0.04 <= value <= 0.96 else SIGMA / 3
    assert float(made[:, 75:85].mean()) == pytest.approx(value, abs=within)


@pytest.mark.parametrize(("weight", "tone"), [(0.0, 0.2), (1.0, 0.8), (0.0, 0.06)])
def test_a_thread_and_a_speck_survive(weight: float, tone: float) -> None:
    plane = np.full((120, 160), weight)
    plane[60, :] = tone
    plane[20, 20] = tone

    made = clean_ends(noisy(plane, 2))

    assert float(made[60].mean()) == pytest.approx(tone, abs=0.002)
    assert float(made[20, 20]) == pytest.approx(tone, abs=4 * SIGMA)


def test_a_matte_too_small_to_tell_its_noise_is_only_clamped() -> None:
    raw = noisy(np.zeros((20, 20)))

    assert (clean_ends(raw) == np.clip(raw, 0, 1)).all()
