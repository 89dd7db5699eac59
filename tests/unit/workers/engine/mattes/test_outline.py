"""Outlines on pixels: areas by the shoelace formula, rasters and distances by other libraries."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import ndimage

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.mattes.outline import cover_outline, feather_outline
from support.silhouettes import fine_raster

SIZE = (60, 80)
STAR = np.array(
    [[40.3, 4.2], [47, 23.1], [70.9, 22.4], [52, 36.6], [58.8, 55.5], [40.1, 43.7],
     [20.4, 56.2], [28, 36.3], [9.7, 22.8], [33.1, 23]]
)  # fmt: skip


def ring(radius: float, count: int = 800) -> NDArray[np.float64]:
    angles = np.arange(count) * (2 * np.pi / count)
    return np.array([40.3, 29.6]) + radius * np.stack([np.cos(angles), np.sin(angles)], axis=1)


def shoelace(corners: NDArray[np.float64]) -> float:
    x, y = corners.T
    return abs(float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))) / 2


@pytest.mark.parametrize("corners", [STAR, STAR[::-1], ring(20.7)], ids=["star", "turned", "ring"])
def test_areas_add_up_to_that_of_the_outline(corners: NDArray[np.float64]) -> None:
    # Shoelace formula (Meister 1769, from memory).
    assert float(cover_outline(corners, SIZE).sum()) == pytest.approx(shoelace(corners), rel=1e-6)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.floats(1, 79), st.floats(1, 59)), min_size=3, max_size=3))
def test_any_triangle_has_its_area(corners: list[tuple[float, float]]) -> None:
    made = cover_outline(np.array(corners), SIZE)

    assert float(made.sum()) == pytest.approx(shoelace(np.array(corners)), abs=1e-3)


def test_pixels_are_covered_as_a_16_times_finer_raster_counts() -> None:
    # scikit-image's polygon2mask; a straight edge through a pixel is counted to about 1/16 of
    # its length at worst, 1/256 on the mean.
    fine = fine_raster(STAR, SIZE, 16)
    counted = fine.reshape(SIZE[0], 16, SIZE[1], 16).mean(axis=(1, 3))

    off = cover_outline(STAR, SIZE) - counted

    assert np.abs(off).max() <= 1 / 16
    assert abs(off.mean()) <= 2e-4


def test_by_hand_half_pixels_and_a_diagonal() -> None:
    square = cover_outline(np.array([[1.5, 1.25], [3, 1.25], [3, 3], [1.5, 3]]), (4, 4))
    slope = cover_outline(np.array([[0, 0], [2, 0], [0, 2]]), (2, 2))

    np.testing.assert_allclose(square[1:3, 1:3], [[0.375, 0.75], [0.5, 1]], atol=1e-7)
    np.testing.assert_allclose(slope, [[1, 0.5], [0.5, 0]], atol=1e-7)


def test_what_lies_outside_the_picture_is_cut_off() -> None:
    huge = np.array([[-1e5, -1e5], [1e5, -1e5], [1e5, 30], [-1e5, 30]])
    left = np.array([[-50, 10], [20.5, 10], [20.5, 20], [-50, 20]])

    assert (cover_outline(huge, SIZE)[:30] == 1).all()
    assert (cover_outline(huge, SIZE)[30:] == 0).all()
    assert float(cover_outline(left, SIZE).sum()) == pytest.approx(205)
    assert cover_outline(STAR + 200, SIZE).max() == 0


@pytest.mark.parametrize(("inside", "outside"), [(3, 3), (0, 6), (5.5, 0), (0.2, 0.3)])
def test_a_feather_on_a_disk_has_the_stated_form(inside: float, outside: float) -> None:
    # By the radius: d = R - r, t = (d + outside) / (inside + outside), 3 t^2 - 2 t^3, and the
    # mean over one pixel across the edge (200 samples).
    y, x = np.mgrid[: SIZE[0], : SIZE[1]] + 0.5
    radius = np.hypot(x - 40.3, y - 29.6)[..., None] + (np.arange(200) + 0.5) / 200 - 0.5
    t = np.clip((18.2 - radius + outside) / (inside + outside), 0, 1)
    wanted = (3 * t**2 - 2 * t**3).mean(axis=2)

    made = feather_outline(ring(18.2), SIZE, inside, outside)

    np.testing.assert_allclose(made, wanted, atol=2e-4)


def test_distances_are_those_of_a_finer_distance_transform() -> None:
    # SciPy's exact Euclidean transform of an 8 times finer raster. 6 px each way make a slope of
    # at most 1.5 / 12 a pixel; where two edges are equally near, the mean across an edge is not
    # that of the pixel: by up to a quarter of a pixel.
    fine = fine_raster(STAR, SIZE, 8)
    inside, outside = (np.asarray(ndimage.distance_transform_edt(each)) for each in (fine, ~fine))
    signed = inside - outside
    t = np.clip((signed / 8 + 6) / 12, 0, 1)
    wanted = (3 * t**2 - 2 * t**3).reshape(SIZE[0], 8, SIZE[1], 8).mean(axis=(1, 3))

    made = feather_outline(STAR, SIZE, 6, 6)

    assert np.abs(made - wanted).max() <= 1.5 / 12 / 4
    assert np.abs(made - wanted).mean() <= 0.004


def test_a_feather_of_nothing_is_the_area_itself() -> None:
    assert (feather_outline(STAR, SIZE, 0, 0) == cover_outline(STAR, SIZE)).all()
    # Along a straight upright edge the mean across the edge is the area.
    box = np.array([[10.3, -99], [40.6, -99], [40.6, 99], [10.3, 99]])
    thin = feather_outline(box, SIZE, 5e-4, 5e-4)
    np.testing.assert_allclose(thin, cover_outline(box, SIZE), atol=1e-3)


def test_an_outline_that_is_no_outline_is_refused() -> None:
    lost = STAR.copy()
    lost[2, 1] = np.nan

    with pytest.raises(LightError, match=r"seen: 10 corners, 1 not finite; expected: three"):
        cover_outline(lost, SIZE)
    with pytest.raises(LightError, match=r"seen: 2 corners, 0 not finite"):
        feather_outline(STAR[:2], SIZE, 1, 1)
