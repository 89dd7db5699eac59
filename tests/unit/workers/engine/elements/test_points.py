"""Points of light: what counts as one, and that none of their light is lost."""

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.elements.placing import placing_matrix
from glimsum_workers.engine.elements.points import lay_points, split_points


def stars(seed: int = 1, count: int = 40, size: tuple[int, int] = (60, 80)) -> NDArray[np.float32]:
    draw = np.random.default_rng(seed)
    picture = np.zeros((*size, 3), np.float32)
    rows, columns = draw.integers(6, size[0] - 6, count), draw.integers(6, size[1] - 6, count)
    picture[rows, columns] = draw.uniform(0.1, 50, (count, 3))
    return picture


def test_stars_on_black_are_points_through_and_through() -> None:
    rest, points = split_points(stars())

    assert not rest.any()
    np.testing.assert_array_equal(points, stars())


def test_grain_and_edges_are_no_points() -> None:
    draw = np.random.default_rng(2)
    grain = draw.normal(0.2, 0.02, (64, 64, 3)).astype(np.float32)
    edge = np.zeros((64, 64, 3), np.float32)
    edge[:, 30:] = 4

    assert not split_points(grain)[1].any()
    assert not split_points(edge)[1].any()


def test_parts_sum_to_the_picture_negatives_included() -> None:
    picture = stars() + np.random.default_rng(3).normal(0, 0.05, (60, 80, 3)).astype(np.float32)

    rest, points = split_points(picture)

    assert points.min() == 0
    assert points.max() > 1
    np.testing.assert_allclose(rest + points, picture, rtol=0, atol=4e-6)


def test_a_whole_shift_moves_points_as_they_are() -> None:
    laid = lay_points(stars(), placing_matrix(5, 3, 1, 0, (0, 0)), (0, 0), (70, 90))

    np.testing.assert_array_equal(laid[3:63, 5:85], stars())


def test_half_a_pixel_shares_a_point_between_two() -> None:
    point = np.zeros((9, 9, 1), np.float32)
    point[4, 4] = 8

    laid = lay_points(point, placing_matrix(0.5, 0, 1, 0, (0, 0)), (0, 0), (9, 9))[..., 0]

    assert laid[4, 4:6].tolist() == [4, 4]
    assert laid.sum() == 8


def test_the_part_that_is_made_begins_at_its_origin() -> None:
    matrix = placing_matrix(10.3, 7.6, 0.8, 20, (0, 0))

    whole = lay_points(stars(), matrix, (0, 0), (90, 120))
    part = lay_points(stars(), matrix, (13, 21), (30, 40))

    np.testing.assert_allclose(part, whole[13:43, 21:61], rtol=1e-5, atol=1e-6)


def test_no_points_lay_nothing() -> None:
    nothing = np.zeros((8, 8, 4), np.float32)

    assert lay_points(nothing, np.eye(3), (0, 0), (5, 6)).shape == (5, 6, 4)
    assert not lay_points(nothing, np.eye(3), (0, 0), (5, 6)).any()
