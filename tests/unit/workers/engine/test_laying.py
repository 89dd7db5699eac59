"""Compiled walks give what numpy gives: float64 sums, numpy's halves, plain formulas.

Halves: IEEE 754-2019, binary16, ties to even, as numpy rounds them.
"""

import numpy as np
import pytest
from numpy.typing import NDArray

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.codes import Picture
from glimsum_workers.engine.combine import combine_step, lay_ground
from glimsum_workers.engine.half import to_half
from glimsum_workers.engine.laying import Halves, count_unfinite, side_by_side
from glimsum_workers.engine.mattes.picture import matte_from_picture, weights_from_halves
from glimsum_workers.engine.metrics import read_figures
from glimsum_workers.engine.resample.quick import Layer, lay_together

HEIGHT, WIDTH = 301, 517
TINT = np.array([[1.2, 0.02, -0.01], [0.01, 0.95, 0.01], [0.0, 0.01, 0.7]])
GAINS = np.diag([0.5, 1.7, 0.2])


def light(seed: int) -> NDArray[np.float32]:
    values = np.random.default_rng(seed).normal(0.3, 0.4, (HEIGHT, WIDTH, 3))
    return values.astype(np.float32)


def planes_of(rgb: NDArray[np.floating]) -> Halves:
    red, green, blue = (np.ascontiguousarray(rgb[..., index], np.float16) for index in range(3))
    return red, green, blue


@pytest.mark.parametrize("before", [None, GAINS, TINT], ids=["as is", "gains", "matrix"])
@pytest.mark.parametrize("after", [None, 0.25 * np.eye(3), TINT.T], ids=["as is", "gain", "tint"])
@pytest.mark.parametrize("matted", [False, True])
def test_what_is_added_is_that_of_float64(
    before: NDArray[np.float64] | None, after: NDArray[np.float64] | None, matted: bool
) -> None:
    rgb, target = light(1).astype(np.float16), light(2)
    matte = np.random.default_rng(3).random((HEIGHT, WIDTH), np.float32) if matted else None
    expected = rgb.astype(np.float64)
    for matrix in (before, after):
        expected = expected if matrix is None else expected @ matrix.T
    expected = target + (expected if matte is None else expected * matte[..., None])

    lay_together([Layer(planes_of(rgb), before, after, matte)], target)

    np.testing.assert_allclose(target, expected, atol=3e-6)


def test_halves_and_their_floats_give_the_same_bits() -> None:
    rgb = light(1).astype(np.float16)
    one, other = light(2), light(2)

    lay_together([Layer(planes_of(rgb), TINT, TINT)], one)
    lay_together([Layer(rgb.astype(np.float32), TINT, TINT)], other)

    np.testing.assert_array_equal(one, other)


def test_pictures_added_together_are_those_added_one_by_one() -> None:
    matte = np.random.default_rng(3).random((HEIGHT, WIDTH), np.float32)
    layers = [
        Layer(planes_of(light(1)), TINT, 0.25 * np.eye(3), matte),
        Layer(light(2), None, GAINS),
        Layer(planes_of(light(4))),
    ]
    together, one_by_one = light(5), light(5)

    lay_together(layers, together)
    for each in layers:
        lay_together([each], one_by_one)

    np.testing.assert_array_equal(together, one_by_one)


def test_a_matte_of_halves_has_the_weights_of_its_floats() -> None:
    rgb = light(1).astype(np.float16)
    rgb[5, 6] = [np.nan, np.inf, -np.inf]
    finite = np.where(np.isfinite(rgb), rgb, 0).astype(np.float32)

    weights = weights_from_halves(planes_of(rgb))

    np.testing.assert_array_equal(weights, matte_from_picture(Picture(finite)).weight)
    assert (weights.min(), weights.max()) == (0, 1)


def test_what_is_no_number_adds_nothing_and_is_counted() -> None:
    rgb = light(1).astype(np.float16)
    rgb[5, 6] = [np.nan, np.inf, -np.inf]
    planes, target = planes_of(rgb), np.zeros((HEIGHT, WIDTH, 3), np.float32)

    lay_together([Layer(planes)], target)

    assert count_unfinite(planes) == 3
    np.testing.assert_array_equal(target, np.where(np.isfinite(rgb), rgb, 0))
    np.testing.assert_array_equal(side_by_side(planes), rgb.astype(np.float32))


def test_a_large_step_is_that_of_small_ones() -> None:
    """Rows cut so narrow that numpy lays them, against one compiled walk over all of them."""
    rgb = light(1)
    matte = np.random.default_rng(3).random((HEIGHT, WIDTH), np.float32)
    whole, parts = lay_ground(HEIGHT, WIDTH), lay_ground(HEIGHT, WIDTH)
    assert parts.alpha is not None

    for _ in range(2):
        combine_step(whole, Picture(rgb), matrix=0.7 * TINT, matte=matte)
        for top in range(0, HEIGHT, 100):
            rows = slice(top, top + 100)
            part = Picture(parts.rgb[rows], parts.alpha[rows])
            combine_step(part, Picture(rgb[rows]), matrix=0.7 * TINT, matte=matte[rows])

    np.testing.assert_allclose(whole.rgb, parts.rgb, atol=1e-6)
    np.testing.assert_array_equal(whole.alpha, parts.alpha)


def test_large_pictures_are_rounded_to_half_as_numpy_does() -> None:
    random = np.random.default_rng(1)
    exponents = random.integers(-30, 18, (HEIGHT, WIDTH, 3))
    rgb = (random.standard_normal((HEIGHT, WIDTH, 3)) * 2.0**exponents).astype(np.float32)
    rgb[0, :4, 0] = [65504, 65519.99, 65520, -1e9]

    halves, clamped = to_half(rgb)

    np.testing.assert_array_equal(halves, np.clip(rgb, -65504, 65504).astype(np.float16))
    assert clamped == np.count_nonzero(np.abs(rgb) > 65504)
    assert halves[..., 1].flags.c_contiguous


def test_a_large_picture_that_is_not_finite_makes_no_halves() -> None:
    rgb = light(1)
    rgb[3, 4, 1], rgb[200, 10, 2] = np.nan, -np.inf

    with pytest.raises(LightError, match=f"2 of {rgb.size} samples"):
        to_half(rgb)


def test_figures_of_large_pictures_are_those_of_float64() -> None:
    rgb = light(4)

    told = read_figures(rgb)

    np.testing.assert_allclose(told.mean, rgb.mean(axis=(0, 1), dtype=np.float64), rtol=1e-12)
    assert told.negative_share == np.count_nonzero(rgb < 0) / rgb.size
