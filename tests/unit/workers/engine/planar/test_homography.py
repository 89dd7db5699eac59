"""Maps of the plane against OpenCV's, and outlines against scikit-image's."""

import cv2
import numpy as np
import pytest
from skimage import draw

from glimsum_workers.engine.planar.homography import (
    PlaneModel,
    carry,
    freest_model,
    inverse,
    map_through,
    unit_frame,
)
from glimsum_workers.engine.planar.outline import inside_outline, ring_about

SQUARE = np.array([[487.7, 282.7], [587.9, 283.3], [587.6, 333.1], [487.7, 332.3]])
SEEN = np.array([[505.5, 282.9], [608.2, 283.0], [607.8, 333.9], [505.5, 333.8]])


def test_four_points_fix_a_homography_as_in_opencv() -> None:
    theirs = np.asarray(
        cv2.getPerspectiveTransform(SQUARE.astype(np.float32), SEEN.astype(np.float32)), np.float64
    )

    ours = map_through(SQUARE, SEEN)

    points = np.random.default_rng(0).uniform(400, 700, (20, 2))
    np.testing.assert_allclose(carry(ours, SQUARE), SEEN, atol=1e-9)
    np.testing.assert_allclose(carry(ours, points), carry(theirs, points), atol=2e-3)


@pytest.mark.parametrize(("count", "model"), [(1, "shift"), (2, "similarity"), (3, "affine")])
def test_fewer_points_fix_simpler_maps_and_are_met(count: int, model: PlaneModel) -> None:
    matrix = map_through(SQUARE[:count], SEEN[:count])

    assert freest_model(count) == model
    np.testing.assert_allclose(carry(matrix, SQUARE[:count]), SEEN[:count], atol=1e-9)
    if model != "affine":
        assert matrix[0, 0] == pytest.approx(matrix[1, 1])
        assert matrix[0, 1] == pytest.approx(-matrix[1, 0])


def test_there_and_back_is_nothing() -> None:
    matrix = map_through(SQUARE, SEEN)

    around = inverse(matrix) @ matrix
    np.testing.assert_allclose(around / around[2, 2], np.eye(3), atol=1e-9)


def test_the_unit_frame_holds_the_longer_half_side() -> None:
    moved = carry(unit_frame(SQUARE), SQUARE)

    assert np.abs(moved).max() == pytest.approx(1.0)
    assert np.ptp(moved, axis=0).max() == pytest.approx(2.0)


def test_an_outline_holds_the_pixels_that_scikit_image_says() -> None:
    corners = np.array([[5.2, 3.1], [30.4, 8.3], [12.6, 14.2], [25.3, 33.8], [3.4, 28.9]])
    y, x = np.mgrid[0:40, 0:40] + 0.5
    places = np.stack([x.ravel(), y.ravel()], axis=1)

    ours = inside_outline(places, corners, 0.0).reshape(40, 40)

    # draw.polygon takes pixel centres at whole numbers, rows first.
    theirs = np.zeros((40, 40), dtype=bool)
    rows, columns = (corners[:, ::-1] - 0.5).T
    inside = draw.polygon(rows, columns, (40, 40))  # type: ignore[no-untyped-call]  # none there
    theirs[inside] = True
    assert np.array_equal(ours, theirs)


def test_a_margin_reaches_as_far_as_told() -> None:
    ring = ring_about(20.0, 20.0, 10.0)
    away = np.array([[20 + r, 20.0] for r in (9.0, 11.9, 12.1)])

    assert inside_outline(away, ring, 2.0).tolist() == [True, True, False]
