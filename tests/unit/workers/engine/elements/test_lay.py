"""An element laid into the picture: copies, borders, softness, coverage."""

import numpy as np
import pytest
from numpy.typing import NDArray

from glimsum_workers.engine.codes import Picture
from glimsum_workers.engine.elements.lay import lay_element
from glimsum_workers.engine.elements.placing import placing_matrix

SIZE = (90, 120)


def noise(seed: int, height: int = 40, width: int = 60) -> NDArray[np.float32]:
    return np.random.default_rng(seed).normal(0.3, 0.2, (height, width, 3)).astype(np.float32)


def coverage(seed: int, height: int = 40, width: int = 60) -> NDArray[np.float32]:
    return np.random.default_rng(seed).random((height, width), np.float32)


def put(picture: Picture, *place: float, softness: float = 0.0) -> Picture:
    x, y, scale, rotation = place
    laid = lay_element(
        picture, placing_matrix(x, y, scale, rotation, (0, 0)), SIZE, softness_px=softness
    )
    assert laid is not None
    return laid


def test_a_whole_shift_copies_bit_by_bit_and_leaves_the_rest_empty() -> None:
    source = Picture(noise(1), coverage(2))

    laid = put(source, 7, 5, 1, 0)

    assert laid.alpha is not None
    assert source.alpha is not None
    np.testing.assert_array_equal(laid.rgb[5:45, 7:67], source.rgb)
    np.testing.assert_array_equal(laid.alpha[5:45, 7:67], source.alpha)
    assert np.count_nonzero(laid.rgb) == np.count_nonzero(source.rgb)
    assert laid.alpha.sum() == pytest.approx(source.alpha.sum(), rel=1e-5)


def test_part_outside_the_picture_is_cut_and_all_outside_is_nothing() -> None:
    source = Picture(noise(1))

    laid = put(source, -10, 70, 1, 0)

    np.testing.assert_array_equal(laid.rgb[70:, :50], source.rgb[:20, 10:])
    assert lay_element(source, placing_matrix(120, 0, 1, 0, (0, 0)), SIZE) is None
    assert lay_element(source, placing_matrix(0, -40, 1, 0, (0, 0)), SIZE) is None


def test_an_element_that_covers_everything_has_no_coverage_of_its_own() -> None:
    laid = put(Picture(noise(1, 120, 160)), -3.4, -2.2, 1, 0)

    assert laid.alpha is None


@pytest.mark.parametrize("rotation", [0.0, 1.0, 30.0])
def test_an_even_card_stays_even_and_its_border_covers_its_exact_area(rotation: float) -> None:
    card = Picture(np.full((20, 30, 3), 0.7, np.float32))

    laid = put(card, 40.3, 22.6, 1.7, rotation)

    assert laid.alpha is not None
    assert laid.alpha.sum(dtype=np.float64) == pytest.approx(20 * 30 * 1.7**2, rel=1e-6)
    np.testing.assert_allclose(laid.rgb[..., 1], 0.7 * laid.alpha, rtol=2e-6, atol=1e-7)


def test_a_quarter_pixel_of_the_border_covers_a_quarter() -> None:
    laid = put(Picture(np.ones((10, 10, 3), np.float32)), 20.75, 30, 1, 0)

    assert laid.alpha is not None
    np.testing.assert_allclose(laid.alpha[35, 19:23], [0, 0.25, 1, 1], atol=1e-6)
    np.testing.assert_allclose(laid.alpha[35, 29:32], [1, 0.75, 0], atol=1e-6)


def test_a_hard_cut_out_gets_no_dark_rim_and_no_light_without_coverage() -> None:
    alpha = np.zeros((40, 60), np.float32)
    alpha[10:30, 15:45] = 1
    source = Picture(alpha[..., None] * np.array([2, 1, 0.5], np.float32), alpha)

    laid = put(source, 30.4, 20.3, 0.8, 12)

    assert laid.alpha is not None
    assert laid.rgb.min() >= 0
    assert laid.rgb.max() <= 2.0001
    straight = laid.rgb[laid.alpha > 0.02] / laid.alpha[laid.alpha > 0.02][:, None]
    np.testing.assert_allclose(straight, np.broadcast_to([2, 1, 0.5], straight.shape), rtol=0.06)


def test_softness_softens_what_is_in_the_element_and_not_its_border() -> None:
    card = Picture(np.full((40, 60, 3), 0.5, np.float32))

    laid = put(card, 30, 20, 1, 0, softness=3)

    np.testing.assert_allclose(laid.rgb[20:60, 30:90], 0.5, rtol=1e-6)
    assert not laid.rgb[:20].any()


def test_softness_keeps_the_light_of_a_star() -> None:
    star = np.zeros((41, 41, 3), np.float32)
    star[20, 20] = 9

    laid = put(Picture(star), 20.3, 20.8, 1, 0, softness=2)

    assert laid.rgb[..., 1].sum(dtype=np.float64) == pytest.approx(9, rel=1e-6)
    assert laid.rgb.max() < 9 / (2 * np.pi * 4) * 1.01


def test_a_homography_lays_points_where_it_takes_them() -> None:
    star = np.zeros((41, 61, 3), np.float32)
    star[30, 40] = 5
    matrix = np.array([[1.1, 0.05, 9], [-0.03, 0.9, 12], [1.5e-3, 8e-4, 1]])

    laid = lay_element(Picture(star), matrix, SIZE)

    assert laid is not None
    weight = laid.rgb[..., 0].astype(np.float64)
    rows, columns = np.indices(SIZE) + 0.5
    found = (weight * columns).sum() / weight.sum(), (weight * rows).sum() / weight.sum()
    x, y, depth = matrix @ [40.5, 30.5, 1]
    assert found == pytest.approx((x / depth, y / depth), abs=1e-5)


def test_a_softened_star_at_the_border_does_not_change_where_a_shift_is_whole() -> None:
    star = np.zeros((20, 20, 3), np.float32)
    star[10, 1] = 9

    whole = put(Picture(star), 40, 30, 1, 0, softness=2)
    beside = put(Picture(star), 40 + 1e-7, 30, 1, 0, softness=2)

    assert whole.rgb[40, 38, 0] > 0.05
    np.testing.assert_allclose(whole.rgb, beside.rgb, atol=1e-4)
