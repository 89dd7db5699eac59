"""Figures of a frame, and block means."""

import numpy as np
import pytest

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.metrics import (
    as_plane,
    block_means,
    box_mean,
    read_figures,
    replace_nonfinite,
)


def test_block_means_are_those_of_scikit_image() -> None:
    # skimage.measure.block_reduce pads with zeros; on whole blocks the two agree.
    from skimage.measure import block_reduce

    picture = np.random.default_rng(0).random((60, 96, 3)).astype(np.float32)

    expected = block_reduce(picture.astype(np.float64), (12, 12, 1), np.mean)  # type: ignore[no-untyped-call]  # skimage has no types

    np.testing.assert_allclose(block_means(picture, 12), expected, rtol=1e-6)
    np.testing.assert_array_equal(
        block_means(picture[:59, :95], 12), block_means(picture, 12)[:4, :7]
    )
    np.testing.assert_allclose(block_means(as_plane(picture), 12), expected.mean(axis=2), rtol=1e-5)


@pytest.mark.parametrize("radius", [0, 1, 4])
def test_box_mean_is_that_of_scipy(radius: int) -> None:
    from scipy.ndimage import uniform_filter1d

    picture = np.random.default_rng(0).random((40, 50, 3)).astype(np.float32)
    side = 2 * radius + 1

    expected = picture.astype(np.float64)
    for axis in (0, 1):
        expected = uniform_filter1d(expected, side, axis=axis, mode="nearest")

    np.testing.assert_allclose(box_mean(picture, radius), expected, rtol=2e-6)
    np.testing.assert_allclose(box_mean(picture[..., 0], radius), expected[..., 0], rtol=2e-6)


def test_samples_that_are_not_finite_become_none_and_are_counted() -> None:
    picture = np.full((4, 4, 3), 0.5, dtype=np.float32)
    picture[0, 0] = [np.nan, np.inf, -np.inf]

    assert replace_nonfinite(picture) == 3
    assert picture[0, 0].tolist() == [0.0, 0.0, 0.0]
    assert replace_nonfinite(picture) == 0


def test_largest_floats_are_finite() -> None:
    picture = np.full((4, 4, 3), np.finfo(np.float32).max, dtype=np.float32)

    assert replace_nonfinite(picture) == 0


def test_figures_say_what_the_frame_holds() -> None:
    picture = np.full((8, 8, 3), 0.5, dtype=np.float32)
    picture[:4, :, 0] = -0.25
    clipped = np.zeros((8, 8), dtype=np.bool_)
    clipped[0, :4] = True

    figures = read_figures(picture, clipped=clipped, replaced=2, step=1)

    assert figures.mean == (0.125, 0.5, 0.5)
    assert figures.median == (0.125, 0.5, 0.5)
    assert figures.negative_share == pytest.approx(1 / 6)
    assert figures.clipped_share == pytest.approx(4 / 64)
    assert figures.replaced == 2


def test_frame_without_finite_light_or_whole_block_is_refused() -> None:
    picture = np.full((8, 9, 3), np.nan, dtype=np.float32)

    with pytest.raises(LightError, match=r"not finite; seen: means \[nan"):
        read_figures(picture)
    with pytest.raises(
        LightError, match=r"seen: 9 x 8 pixels, blocks of 10; expected: at least 10"
    ):
        block_means(picture, 10)
