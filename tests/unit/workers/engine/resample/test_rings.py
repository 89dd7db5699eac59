"""Which samples count as beside a lamp, and the limits they get; SciPy's filters stand beside."""

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
from scipy.ndimage import maximum_filter, minimum_filter

from glimsum_workers.engine.codes import Picture
from glimsum_workers.engine.motion import Motion
from glimsum_workers.engine.resample.edge_samples import cut_samples
from glimsum_workers.engine.resample.resample import resample
from glimsum_workers.engine.resample.ring_limits import find_ring_rule, limit_cells, window_extreme

RANDOM = np.random.default_rng(21)


def test_a_lamp_marks_every_block_whose_kernels_can_see_it_and_no_more() -> None:
    dark = RANDOM.normal(0.01, 0.0005, (61, 83, 3)).astype(np.float32)
    dark[29, 41, 1] = 1.0

    lamps = find_ring_rule(dark).lamps

    expected = np.zeros((16, 21), np.bool_)
    expected[6:9, 9:12] = True  # its own block is row 7, column 10
    np.testing.assert_array_equal(lamps, expected)


@pytest.mark.parametrize("rgb", [np.zeros((9, 9, 3)), np.full((30, 40, 3), -0.2)])
def test_a_flat_picture_holds_no_lamp(rgb: np.ndarray) -> None:
    rule = find_ring_rule(rgb.astype(np.float32))

    assert not rule.lamps.any()
    assert rule.floor == 0.0


def test_the_floor_is_some_seventeen_standard_deviations_of_the_dark_noise() -> None:
    noise = RANDOM.normal(0.0, 0.002, (200, 300, 3)).astype(np.float32)

    assert find_ring_rule(noise).floor / 0.002 == pytest.approx(17, abs=2)


def test_light_a_stop_brighter_than_its_surroundings_is_no_lamp_by_itself() -> None:
    grey = RANDOM.normal(0.2, 0.001, (64, 64, 3)).astype(np.float32)
    patch, lamp = grey.copy(), grey.copy()
    patch[30:36, 30:36] = 0.39
    lamp[30:36, 30:36] = 0.45

    assert not find_ring_rule(patch).lamps.any()
    assert find_ring_rule(lamp).lamps.any()


@pytest.mark.parametrize("near", [2, 4])
def test_limits_are_the_extremes_of_the_nearest_samples(near: int) -> None:
    samples = RANDOM.random((20, 30, 3), dtype=np.float32)

    low, high = limit_cells(samples, near)

    inner = (slice(near // 2, near // 2 + 21 - near), slice(near // 2, near // 2 + 31 - near))
    np.testing.assert_array_equal(low, minimum_filter(samples, (near, near, 1))[inner])
    np.testing.assert_array_equal(high, maximum_filter(samples, (near, near, 1))[inner])


@pytest.mark.parametrize("size", [1, 2, 3, 5, 8, 11])
def test_window_extremes_are_those_of_a_plain_window(size: int) -> None:
    samples = RANDOM.random((40, 5), dtype=np.float32)

    found = window_extreme(np.maximum, samples, size, 0)

    expected = np.stack([samples[i : i + size].max(axis=0) for i in range(41 - size)])
    np.testing.assert_array_equal(found, expected)


@pytest.mark.parametrize(
    ("top", "bottom", "left", "right"),
    [
        (2, 5, 1, 6),
        (-3, 4, 0, 7),
        (5, 14, -4, 3),
        (-30, -20, 20, 29),
        (3, 4, -9, -2),
        (0, 8, 2, 30),
    ],
)
def test_a_rectangle_beyond_the_picture_repeats_its_edges(
    top: int, bottom: int, left: int, right: int
) -> None:
    samples = RANDOM.random((8, 10, 3), dtype=np.float32)
    whole = np.pad(samples, [(40, 40), (40, 40), (0, 0)], mode="edge")

    found = cut_samples(samples, top, bottom, left, right)

    np.testing.assert_array_equal(found, whole[40 + top : 40 + bottom, 40 + left : 40 + right])


def test_eight_threads_give_the_same_bits() -> None:
    picture = Picture(RANDOM.random((90, 130, 3), dtype=np.float32))
    motion = Motion(0.3, 0.6, rotation_deg=0.1, scale=1.001)
    alone = resample(picture, motion).picture.rgb

    with ThreadPoolExecutor(8) as pool:
        made = list(pool.map(lambda _: resample(picture, motion).picture.rgb, range(16)))

    assert all(np.array_equal(alone, each) for each in made)
