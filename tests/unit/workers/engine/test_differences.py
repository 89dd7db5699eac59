"""Differences of two pictures, against numbers worked out by hand and numpy's own half floats."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.differences import compare_light, enlargement, half_step


def picture(*values: float) -> np.ndarray:
    """Return one row of grey pixels."""
    return np.repeat(np.asarray(values, np.float32)[None, :, None], 3, axis=2)


def test_equal_pictures_do_not_differ() -> None:
    same = picture(0, 0.5, -0.25, 3)
    found = compare_light(same, same.copy())
    assert (found.mean, found.largest, found.stops, found.changed_share) == (0, 0, 0, 0)


def test_figures_of_a_picture_worked_out_by_hand() -> None:
    # Off by 0.5, 1, 0, 0.25; in stops log2 of 2, 1/2 and 1 over the three lit in both.
    found = compare_light(picture(0.5, 2, 1, -0.25), picture(1, 1, 1, 0))
    assert found.mean == pytest.approx(1.75 / 4)
    assert found.largest == 1
    assert found.stops == pytest.approx(0)
    assert found.largest_stops is not None
    assert abs(found.largest_stops) == pytest.approx(1)
    assert found.changed_share == 0.75


@pytest.mark.parametrize("stops", [-0.5, 1 / 3, 2.0])
def test_a_gain_on_the_whole_picture_is_read_back_in_stops(stops: float) -> None:
    light = np.random.default_rng(1).uniform(0.02, 4, (20, 30, 3)).astype(np.float32)
    found = compare_light(light, light * np.float32(2**stops))
    assert found.stops == pytest.approx(stops, abs=1e-6)
    assert found.largest_stops == pytest.approx(stops, abs=1e-6)
    assert found.changed_share == 1


def test_the_place_that_differs_most_is_told_and_no_noise() -> None:
    """A lamp goes down by a stop; grain of a dark wall is a factor of ten from pixel to pixel."""
    random = np.random.default_rng(2)
    light = np.full((64, 80, 3), 0.002, np.float32)
    light[24:40, 32:48] = 0.8
    gain = np.where(light == np.float32(0.8), np.float32(0.5), np.float32(1))
    grain = random.normal(0, 0.001, (2, 64, 80, 3)).astype(np.float32)
    found = compare_light(light + grain[0], light * gain + grain[1])
    assert found.largest_stops == pytest.approx(-1, abs=0.01)


def test_stops_of_what_is_dark_in_either_are_not_told() -> None:
    found = compare_light(picture(0.0005, -1, 0.3), picture(0.001, 1, 0))
    assert (found.stops, found.largest_stops) == (None, None)


@given(st.floats(-65472, 65472, width=16))
def test_a_step_of_a_half_float_is_that_of_numpy(value: float) -> None:
    # IEEE 754 binary16 as numpy has it.
    half = np.float16(abs(value))
    light = np.asarray([half], np.float32)
    beyond = np.nextafter(half, np.float16(np.inf))
    assert half_step(light)[0] == float(beyond) - float(half)


def test_one_step_of_a_half_is_rounding_and_two_are_a_change() -> None:
    base = np.asarray([0.1, 1.0, 100.0], np.float16)
    one = np.nextafter(base, np.float16(np.inf))
    two = np.nextafter(one, np.float16(np.inf))
    row = picture(*base.astype(float))
    assert compare_light(row, picture(*one.astype(float))).changed_share == 0
    assert compare_light(row, picture(*two.astype(float))).changed_share == 1


def test_coverage_is_compared_and_none_is_full() -> None:
    light = picture(1, 1)
    half = np.asarray([[1, 0.25]], np.float32)
    assert compare_light(light, light, None, half).coverage == 0.75
    assert compare_light(light, light, half, half).coverage == 0


def test_pictures_of_other_size_are_refused_with_both_sizes() -> None:
    with pytest.raises(LightError, match=r"(?s)seen: 3 x 1 pixels.*expected: 2 x 1"):
        compare_light(picture(1, 1), picture(1, 1, 1))


@pytest.mark.parametrize(("off", "factor"), [(0.5, 2), (0.3, 2), (0.004, 128), (3.0, 1), (0, 1)])
def test_a_difference_is_enlarged_to_white_at_most(off: float, factor: int) -> None:
    dark = np.zeros((20, 20, 3), np.float32)
    assert enlargement(dark, dark + np.float32(off)) == factor
