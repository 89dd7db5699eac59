"""Where an element lands: pivot, turn, scale; places that can't be."""

import numpy as np
import pytest

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.elements.placing import (
    corners_of,
    jacobians,
    map_places,
    placing_matrix,
    scales_of,
)


def land(matrix: np.ndarray, x: float, y: float) -> tuple[float, float]:
    to_x, to_y = map_places(matrix, np.array([x]), np.array([y]))
    return float(to_x[0]), float(to_y[0])


def test_the_pivot_lies_on_its_point_however_it_is_turned_and_scaled() -> None:
    matrix = placing_matrix(120.5, 60.25, 0.3, 77, (31, 9))

    assert land(matrix, 31, 9) == pytest.approx((120.5, 60.25))


def test_a_quarter_turn_takes_right_to_down() -> None:
    matrix = placing_matrix(100, 50, 2, 90, (0, 0))

    assert land(matrix, 10, 0) == pytest.approx((100, 70))
    assert land(matrix, 0, 10) == pytest.approx((80, 50))


def test_corners_come_in_order_round_the_rectangle() -> None:
    corners = corners_of(placing_matrix(4, 2, 0.5, 0, (0, 0)), (10, 20))

    np.testing.assert_allclose(corners, [[4, 2], [14, 2], [14, 7], [4, 7]])


def test_jacobians_are_what_small_steps_tell() -> None:
    matrix = np.array([[0.9, 0.1, 5], [-0.2, 1.1, 3], [1e-3, -5e-4, 1]])
    x, y, step = np.array([10.0, 40]), np.array([20.0, 5]), 1e-6

    ahead = [map_places(matrix, x + step, y), map_places(matrix, x, y + step)]
    behind = [map_places(matrix, x - step, y), map_places(matrix, x, y - step)]
    told = (np.array(ahead) - np.array(behind)) / (2 * step)

    np.testing.assert_allclose(jacobians(matrix, x, y), np.moveaxis(told, 2, 0).swapaxes(1, 2),
                               rtol=1e-6)  # fmt: skip


@pytest.mark.parametrize(("scale", "stretch"), [(0.25, 4.0), (2.0, 0.5)])
def test_a_smaller_element_has_more_of_its_pixels_in_one(scale: float, stretch: float) -> None:
    told = scales_of(placing_matrix(9, 9, scale, 30, (0, 0)), (40, 60), (0, 100, 0, 100))

    assert told.stretch == pytest.approx(stretch)
    assert told.affine


def test_of_a_homography_only_what_is_seen_counts() -> None:
    matrix = np.array([[1.0, 0, 0], [0, 1.0, 0], [0.05, 0, 1]])

    near = scales_of(matrix, (40, 60), (0, 2, 0, 2)).stretch
    whole = scales_of(matrix, (40, 60), (0, 40, 0, 60)).stretch

    assert near == pytest.approx(1)
    assert whole > 16  # (1 + 0.05 * 60) ** 2 at the far edge, and sheared there


@pytest.mark.parametrize(
    "matrix",
    [
        np.full((3, 3), np.nan),
        np.diag([-1.0, 1, 1]),
        np.array([[1.0, 0, 0], [0, 1, 0], [-0.2, 0, 1]]),
    ],
    ids=["not finite", "mirrored", "behind the camera"],
)
def test_places_that_can_not_be_are_refused_with_the_matrix(matrix: np.ndarray) -> None:
    with pytest.raises(LightError, match="the place of an element can't be") as refused:
        corners_of(matrix, (10, 20))

    assert "four corners before the camera" in str(refused.value)
    assert refused.value.seen.startswith("[[")
