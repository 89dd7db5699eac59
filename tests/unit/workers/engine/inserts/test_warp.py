"""The warp of inserts against many samples a pixel, and against OpenCV where that is exact."""

from collections.abc import Callable

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.codes import Picture
from glimsum_workers.engine.inserts.warp import warp_insert

SIZE = (60, 80)
SIDE = 256
SAMPLES = 32
QUADS = {
    "small": [[30.0, 20.0], [40.2, 20.5], [39.5, 27.1], [30.2, 26.0]],
    "leaning": [[10.3, 8.2], [70.7, 12.1], [66.2, 50.3], [12.5, 44.4]],
    "steep": [[5.0, 5.0], [75.0, 25.0], [75.0, 35.0], [5.0, 55.0]],
    "beyond the frame": [[-60.0, -40.0], [150.0, -30.0], [140.0, 100.0], [-50.0, 90.0]],
}


def zone_plate() -> NDArray[np.float32]:
    """Return rings from 0 cycles a pixel in the middle to 1/4 at the sides."""
    y, x = np.mgrid[:SIDE, :SIDE] + 0.5 - SIDE / 2
    rings = 0.5 + 0.5 * np.cos(np.pi * (x * x + y * y) / (2 * SIDE))
    return np.asarray(rings, dtype=np.float32)


def checkerboard() -> NDArray[np.float32]:
    y, x = np.mgrid[:SIDE, :SIDE] // 8
    return np.asarray((x + y) % 2, dtype=np.float32)


def sampled(
    plane: NDArray[np.float32], corners: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return light and coverage by 32 x 32 samples a pixel, the picture's pixels taken as squares.

    The homography is OpenCV's.
    """
    side = plane.shape[0]
    own = np.array([[0, 0], [side, 0], [side, side], [0, side]], np.float32)
    back = cv2.getPerspectiveTransform(corners.astype(np.float32), own)
    y, x = (np.mgrid[: SIZE[0] * SAMPLES, : SIZE[1] * SAMPLES] + 0.5) / SAMPLES
    u, v, w = np.tensordot(np.asarray(back), np.stack([x, y, np.ones_like(x)]), axes=1)
    column, row = np.floor(u / w).astype(int), np.floor(v / w).astype(int)
    inside = (w > 0) & (column >= 0) & (column < side) & (row >= 0) & (row < side)
    light = np.where(inside, plane[row.clip(0, side - 1), column.clip(0, side - 1)], 0)
    return _mean(light), _mean(inside.astype(np.float64))


def _mean(fine: NDArray[np.float64]) -> NDArray[np.float64]:
    cells = fine.reshape(SIZE[0], SAMPLES, SIZE[1], SAMPLES)
    return np.asarray(cells.mean(axis=(1, 3)), dtype=np.float64)


def grey(plane: NDArray[np.float32]) -> Picture:
    return Picture(np.repeat(plane[..., np.newaxis], 3, axis=2))


@pytest.mark.parametrize("pattern", [zone_plate, checkerboard])
@pytest.mark.parametrize("quad", QUADS)
def test_every_pixel_weighs_all_it_looks_at(
    pattern: Callable[[], NDArray[np.float32]], quad: str
) -> None:
    corners = np.array(QUADS[quad])

    laid = warp_insert(grey(pattern()), corners, SIZE)

    light, covered = sampled(pattern(), corners)
    left = laid.rgb[..., 0] - light
    assert laid.alpha is not None
    # 32 x 32 samples know the coverage of a pixel at an edge to about 1/32 at worst.
    assert np.abs(laid.alpha - covered).max() < 0.02
    assert np.sqrt((left**2).sum() / covered.sum()) < 0.025
    assert abs(left.sum()) < 5e-3 * light.sum()
    assert not laid.rgb[laid.alpha == 0].any()


def test_one_sample_a_pixel_would_not_pass() -> None:
    corners = np.array(QUADS["steep"])
    own = np.array([[0, 0], [SIDE, 0], [SIDE, SIDE], [0, SIDE]], np.float32)
    forward = cv2.getPerspectiveTransform(own, corners.astype(np.float32))
    plain = cv2.warpPerspective(zone_plate(), forward, (SIZE[1], SIZE[0]), flags=cv2.INTER_CUBIC)

    light, covered = sampled(zone_plate(), corners)

    whole = covered > 0.999
    assert np.sqrt(np.mean((plain - light)[whole] ** 2)) > 0.05


def test_light_is_not_lost_where_it_is_made_smaller() -> None:
    rng = np.random.default_rng(2)
    lamps = np.zeros((SIDE, SIDE), np.float32)
    lamps[rng.integers(8, SIDE - 8, 40), rng.integers(8, SIDE - 8, 40)] = 500.0

    corners = np.array([[20.25, 10.5], [52.25, 10.5], [52.25, 42.5], [20.25, 42.5]])
    laid = warp_insert(grey(lamps), corners, SIZE)

    # A pixel of the picture covers 1/64 of one of the shot.
    assert laid.rgb[..., 0].sum() == pytest.approx(lamps.sum() / 64, rel=4e-3)


def test_a_picture_laid_pixel_on_pixel_keeps_its_middle() -> None:
    plane = np.random.default_rng(3).uniform(0, 1, (20, 30)).astype(np.float32)
    smooth = np.asarray(cv2.GaussianBlur(plane, (0, 0), 2.0), np.float32)
    corners = np.array([[10.0, 10.0], [40, 10], [40, 30], [10, 30]])

    laid = warp_insert(grey(smooth), corners, SIZE)

    np.testing.assert_allclose(laid.rgb[12:28, 12:38, 1], smooth[2:18, 2:28], atol=0.004)
    assert laid.alpha is not None
    assert np.array_equal(laid.alpha[10:30, 10:40], np.ones((20, 30), np.float32))
    assert laid.alpha.sum() == 600


def test_coverage_of_the_picture_goes_with_its_light() -> None:
    alpha = np.full((40, 40), 0.25, np.float32)
    picture = Picture(np.full((40, 40, 3), 0.5, np.float32), alpha)

    laid = warp_insert(picture, np.array(QUADS["leaning"]), SIZE)

    assert laid.alpha is not None
    covered = laid.alpha > 0
    np.testing.assert_allclose(laid.rgb[covered, 0] / laid.alpha[covered], 2.0, rtol=1e-5)
    assert laid.alpha.max() == pytest.approx(0.25)


def test_negative_light_is_kept() -> None:
    laid = warp_insert(grey(np.full((9, 9), -0.1, np.float32)), np.array(QUADS["leaning"]), SIZE)

    assert laid.rgb.min() == pytest.approx(-0.1)


def test_softness_is_a_gaussian_over_light_and_edge() -> None:
    corners = np.array([[20.0, 10.0], [60.0, 10.0], [60.0, 50.0], [20.0, 50.0]])
    plane = np.full((8, 8), 0.5, np.float32)

    laid = warp_insert(grey(plane), corners, SIZE, softness_px=2.5)

    box = np.zeros(SIZE, np.float32)
    box[10:50, 20:60] = 1
    theirs = np.asarray(cv2.GaussianBlur(box, (41, 41), 2.5, borderType=cv2.BORDER_CONSTANT))
    assert laid.alpha is not None
    np.testing.assert_allclose(laid.alpha, theirs, atol=2e-4)
    np.testing.assert_allclose(laid.rgb[..., 2], 0.5 * theirs, atol=2e-4)


def test_it_moves_as_finely_as_its_corners() -> None:
    plane = np.asarray(cv2.GaussianBlur(checkerboard(), (0, 0), 6.0), np.float32)
    base = np.array(QUADS["leaning"])
    x = np.arange(SIZE[1]) + 0.5

    middles = []
    for step in range(50):
        laid = warp_insert(grey(plane), base + np.array([0.01 * step, 0.0]), SIZE)
        assert laid.alpha is not None
        middles.append(float((laid.alpha * x).sum() / laid.alpha.sum()))

    np.testing.assert_allclose(np.diff(middles), 0.01, atol=1e-4)


@pytest.mark.parametrize(
    "corners",
    [
        [[10, 10], [50, 10], [10, 40], [50, 40]],
        [[10, 10], [50, 10], [30, 20], [10, 40]],
        [[10, 10], [30, 10], [50, 10], [10, 40]],
        [[10, 10], [np.nan, 10], [50, 40], [10, 40]],
    ],
)
def test_corners_that_are_no_surface_are_refused_with_their_numbers(
    corners: list[list[float]],
) -> None:
    with pytest.raises(LightError, match="seen from the front") as refused:
        warp_insert(grey(checkerboard()), np.array(corners, dtype=float), SIZE)

    assert "(10.0, 10.0)" in refused.value.seen
    assert refused.value.remedy == "Mark the corners in that order."


def test_an_insert_out_of_sight_is_nothing() -> None:
    laid = warp_insert(grey(checkerboard()), np.array(QUADS["leaning"]) + 500.0, SIZE)

    assert laid.alpha is not None
    assert not laid.rgb.any()
    assert not laid.alpha.any()
