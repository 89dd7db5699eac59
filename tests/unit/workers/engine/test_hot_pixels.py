"""Hot pixels and clipping on pictures made for it."""

import numpy as np
import pytest

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.codes import Image
from glimsum_workers.engine.hot_pixels import (
    clip_mask,
    clipped_share,
    find_hot_pixels,
    find_staying_pixels,
    grow_mask,
    mend_hot_pixels,
)


def dark(seed: int = 0, size: tuple[int, int] = (150, 200)) -> Image:
    noise = np.random.default_rng(seed).standard_normal((*size, 3))
    return (0.002 + 0.0002 * noise).astype(np.float32)


def test_even_noise_has_no_hot_pixels() -> None:
    assert not find_hot_pixels(dark()).any()


def test_hot_sample_is_found_in_its_channel_only_corner_and_edge_too() -> None:
    picture = dark()
    hot = {(0, 0, 1), (0, 77, 2), (149, 199, 0), (64, 64, 1)}
    for place in hot:
        picture[place] += 0.01

    found = {tuple(int(i) for i in place) for place in np.argwhere(find_hot_pixels(picture))}

    assert found == hot


def test_image_of_a_lamp_is_not_hot() -> None:
    # A point through a lens: a bell of sigma 0.7 pixel (common practice, no source).
    picture = dark()
    y, x = np.mgrid[0:150, 0:200]
    for row, column in ((40.0, 50.0), (90.3, 120.6)):
        bell = 0.2 * np.exp(-((y - row) ** 2 + (x - column) ** 2) / (2 * 0.7**2))
        picture += bell[..., None].astype(np.float32)

    assert not find_hot_pixels(picture, lit=True).any()


def test_glint_that_moves_is_no_hot_pixel_and_one_that_stays_is() -> None:
    pictures = [dark(seed) for seed in range(4)]
    for step, picture in enumerate(pictures):
        picture[70, 30 + 3 * step] += 0.5
        picture[20, 160] += 0.01

    staying = find_staying_pixels(pictures)

    assert np.argwhere(staying.any(axis=2)).tolist() == [[20, 160]]


def test_mending_takes_the_median_of_good_samples_around_and_grows_by_one() -> None:
    picture = np.random.default_rng(1).random((30, 30, 3)).astype(np.float32)
    before = picture.copy()
    hot = np.zeros(picture.shape, dtype=np.bool_)
    hot[10, 12, 1] = True

    assert mend_hot_pixels(picture, hot) == 9

    ring = before[8:13, 10:15, 1].copy()
    ring[1:4, 1:4] = np.nan
    assert picture[10, 12, 1] == np.nanmedian(ring).astype(np.float32)
    untouched = ~grow_mask(hot, 1)
    np.testing.assert_array_equal(picture[untouched], before[untouched])


def test_wide_hole_is_filled_from_as_far_as_needed() -> None:
    picture = np.full((60, 60, 3), 0.3, dtype=np.float32)
    hot = np.zeros(picture.shape, dtype=np.bool_)
    hot[20:36, 20:36] = True
    picture[hot] = 9.0

    mend_hot_pixels(picture, hot)

    np.testing.assert_array_equal(picture, np.float32(0.3))


def test_nothing_hot_changes_nothing() -> None:
    picture = dark()
    before = picture.copy()

    assert mend_hot_pixels(picture, np.zeros(picture.shape, dtype=np.bool_)) == 0
    np.testing.assert_array_equal(picture, before)


def test_clipped_pixels_are_those_with_a_channel_at_its_ceiling() -> None:
    codes = np.array([[[254, 10, 10], [255, 0, 0], [0, 0, 240]]], dtype=np.uint8)

    assert clip_mask(codes, 255).tolist() == [[False, True, False]]
    assert clip_mask(codes, (255, 255, 240)).tolist() == [[False, True, True]]
    assert clipped_share(clip_mask(codes, 255)) == pytest.approx(1 / 3)


def test_what_cannot_be_mended_is_named() -> None:
    picture = dark()
    mask = np.zeros((150, 200, 3), dtype=np.bool_)

    with pytest.raises(LightError, match=r"seen: 199 x 150; expected: 200 x 150"):
        mend_hot_pixels(picture, mask[:, 1:])
    mask[..., 2] = True
    with pytest.raises(LightError, match=r"seen: 30000 of 90000 samples; expected: a few"):
        mend_hot_pixels(picture, mask)
    with pytest.raises(LightError, match=r"seen: 200 x 150; expected: at least two pictures"):
        find_staying_pixels([picture])
