"""Takes made one picture: the mean, the median, and what is left out of both."""

import numpy as np
import pytest

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.codes import Image, Picture
from glimsum_workers.engine.take_combining import Take, combine_takes

SIZE = (40, 64)


def noisy(count: int, seed: int = 1, sigma: float = 0.02) -> list[Image]:
    random = np.random.default_rng(seed)
    return [
        (0.18 + sigma * random.standard_normal((*SIZE, 3))).astype(np.float32) for _ in range(count)
    ]


def spoilt(rows: slice, columns: slice) -> np.ndarray:
    mask = np.zeros(SIZE, dtype=np.bool_)
    mask[rows, columns] = True
    return mask


@pytest.mark.parametrize("count", [2, 4, 9, 16])
def test_noise_of_a_mean_falls_by_the_root_of_its_takes(count: int) -> None:
    # Variance of a mean of independent values: sigma**2 / n (textbook statistics).
    told = combine_takes([Take(Picture(each)) for each in noisy(count)], "mean")

    assert told.picture.rgb.std() == pytest.approx(0.02 / np.sqrt(count), rel=0.03)
    assert told.picture.rgb.mean() == pytest.approx(0.18, abs=0.001)
    assert told.left_out == 0


@pytest.mark.parametrize(("count", "factor"), [(3, 1.160), (15, 1.228)])
def test_noise_of_a_median_is_as_order_statistics_say(count: int, factor: float) -> None:
    # Standard error of the median of n normal values over that of their mean: 1.160 for n = 3,
    # towards sqrt(pi / 2) = 1.2533 (order statistics of normal values; from memory).
    told = combine_takes([Take(Picture(each)) for each in noisy(count)], "median")

    assert told.picture.rgb.std() * np.sqrt(count) / 0.02 == pytest.approx(factor, rel=0.03)


def test_weights_by_light_received_give_the_least_noise() -> None:
    # Photon noise of equalised takes: variance falls with the light received (EMVA 1288); the
    # variance of the best mean is 1 / sum(1 / variance) (Gauss-Markov).
    light = (1.0, 4.0)
    random = np.random.default_rng(2)
    takes = [
        Take(
            Picture((random.standard_normal((200, 300, 3)) / np.sqrt(w)).astype(np.float32)),
            None,
            w,
        )
        for w in light
    ]

    told = combine_takes(takes, "mean").picture.rgb

    assert told.std() == pytest.approx(np.sqrt(1 / 5), rel=0.01)


def test_negative_noise_is_kept() -> None:
    takes = [Take(Picture(each - np.float32(0.18))) for each in noisy(3)]

    for how in ("mean", "median"):
        told = combine_takes(takes, how).picture.rgb
        assert (told < 0).mean() == pytest.approx(0.5, abs=0.02)


@pytest.mark.parametrize("how", ["mean", "median"])
def test_spoilt_pixels_are_left_out_where_another_take_has_them(how: str) -> None:
    first, second, third = (np.full((*SIZE, 3), value, np.float32) for value in (1.0, 2.0, 4.0))
    third[:10] = 100
    both = slice(4, 8)
    takes = [
        Take(Picture(first)),
        Take(Picture(second), spoilt(both, slice(None))),
        Take(Picture(third), spoilt(slice(0, 10), slice(None))),
    ]

    told = combine_takes(takes, "mean" if how == "mean" else "median")

    np.testing.assert_allclose(told.picture.rgb[both], 1.0)
    np.testing.assert_allclose(told.picture.rgb[:4], 1.5)
    np.testing.assert_allclose(told.picture.rgb[10:], 7 / 3 if how == "mean" else 2.0, rtol=1e-6)
    assert told.left_out == pytest.approx((10 + 4) / (3 * 40))


def test_what_is_spoilt_in_every_take_is_kept_as_it_is() -> None:
    takes = [
        Take(Picture(np.full((*SIZE, 3), value, np.float32)), spoilt(slice(5), slice(None)))
        for value in (8.0, 10.0)
    ]

    told = combine_takes(takes, "mean")

    np.testing.assert_allclose(told.picture.rgb, 9.0)


def test_a_fly_in_one_take_of_three_does_not_show_in_the_median() -> None:
    takes = noisy(3, sigma=0.002)
    takes[1][10:20, 10:20] = 0

    told = combine_takes([Take(Picture(each)) for each in takes], "median").picture.rgb

    assert told.min() > 0.17


def test_outliers_leave_the_mean_and_nothing_else_does() -> None:
    takes = noisy(7, sigma=0.002)
    takes[4][10:20, 10:20] = 0.5
    clean = np.delete(np.stack(takes), 4, axis=0)[:, 10:20, 10:20].mean(axis=0)

    told = combine_takes([Take(Picture(each)) for each in takes], "mean", sigma=12)

    np.testing.assert_allclose(told.picture.rgb[10:20, 10:20].mean(), clean.mean(), rtol=1e-3)
    assert told.left_out >= 100 / (7 * 40 * 64)
    assert told.left_out < 0.03


def test_coverage_is_combined_as_colour_is() -> None:
    half = np.full(SIZE, 0.5, np.float32)
    takes = [
        Take(Picture(np.full((*SIZE, 3), 1.0, np.float32))),
        Take(Picture(np.full((*SIZE, 3), 0.5, np.float32), half)),
    ]

    told = combine_takes(takes, "mean").picture

    assert told.alpha is not None
    np.testing.assert_allclose(told.alpha, 0.75)
    np.testing.assert_allclose(told.rgb, 0.75)


def test_takes_that_do_not_go_together_are_named() -> None:
    good = Picture(np.zeros((4, 6, 3), np.float32))
    small = Picture(np.zeros((2, 6, 3), np.float32))

    with pytest.raises(LightError, match=r"seen: 6 x 2 pixels, 6 x 4 pixels"):
        combine_takes([Take(good), Take(small)], "mean")
    with pytest.raises(LightError, match=r"seen: no take; expected: at least one take"):
        combine_takes([], "mean")
    with pytest.raises(LightError, match=r"seen: 1, 0; expected: weights above 0"):
        combine_takes([Take(good), Take(good, None, 0.0)], "mean")
    with pytest.raises(LightError, match=r"seen: 2 takes, mean; expected: a mean of at least 5"):
        combine_takes([Take(good), Take(good)], "mean", sigma=3)
