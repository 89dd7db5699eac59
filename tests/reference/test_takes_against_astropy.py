"""Combined takes against another library.

Sources: astropy 8.0 (`astropy.stats.sigma_clip`, `mad_std`), which sky surveys combine their
exposures with, and NumPy's masked arrays and `nanmedian`.
"""

from typing import Any

import numpy as np
import pytest
from astropy.stats import mad_std, sigma_clip

from glimsum_workers.engine.codes import Picture
from glimsum_workers.engine.take_combining import Take, combine_takes


def stack_of(count: int) -> tuple[np.ndarray, np.ndarray]:
    """Return takes of one light with flies in them, and which pixels are clipped."""
    random = np.random.default_rng(count)
    light = 0.05 + 0.4 * random.random((24, 32, 3))
    values = light + 0.01 * random.standard_normal((count, 24, 32, 3))
    flies = random.random((count, 24, 32)) < 0.02
    values[flies] *= 50
    return values.astype(np.float32), random.random((count, 24, 32)) < 0.1


def takes_of(values: np.ndarray, clipped: np.ndarray) -> list[Take]:
    return [Take(Picture(each), mask) for each, mask in zip(values, clipped, strict=True)]


def masked(values: np.ndarray, clipped: np.ndarray) -> np.ma.MaskedArray:
    out = clipped & ~clipped.all(axis=0)
    return np.ma.MaskedArray(values, np.repeat(out[..., None], 3, axis=-1))


@pytest.mark.parametrize("count", [2, 3, 6, 9])
def test_mean_and_median_are_those_of_what_is_kept(count: int) -> None:
    values, clipped = stack_of(count)
    known = masked(values, clipped)

    mean = combine_takes(takes_of(values, clipped), "mean").picture.rgb
    median = combine_takes(takes_of(values, clipped), "median").picture.rgb

    np.testing.assert_allclose(mean, known.mean(axis=0), rtol=2e-6)
    middle = np.nanmedian(known.filled(np.nan), axis=0)
    np.testing.assert_allclose(median, middle, rtol=1e-6)


@pytest.mark.parametrize("count", [5, 9, 16])
@pytest.mark.parametrize("sigma", [3.0, 5.0])
def test_outliers_are_those_of_a_sigma_clip(count: int, sigma: float) -> None:
    values, _ = stack_of(count)
    kept: Any = sigma_clip(
        values.astype(np.float64),
        sigma=sigma,
        maxiters=1,
        cenfunc="median",
        stdfunc=mad_std,
        axis=0,
    )
    # A pixel goes with the channel that gives it away; astropy judges channels one by one.
    out = np.asarray(kept.mask, dtype=np.bool_).any(axis=-1, keepdims=True)
    out = out & ~out.all(axis=0)
    known = np.ma.MaskedArray(values, np.broadcast_to(out, values.shape)).mean(axis=0)
    takes = [Take(Picture(each)) for each in values]

    told = combine_takes(takes, "mean", sigma=sigma)

    # One value in thousands may stand on the limit itself, and fall either way in float32.
    close = np.isclose(told.picture.rgb, known, rtol=1e-5).all(axis=-1)
    assert close.mean() >= 0.995
    assert told.left_out == pytest.approx(out.mean(), rel=0.01)
