"""Small pictures show what a file holds, and the brightest of them tells what a pass is for."""

import numpy as np
import pytest

from glimsum_workers.draft.looks import Look, look_at, measure_light, spread_over
from glimsum_workers.engine.codes import FloatPixels, RgbCodes, VideoPlanes


def test_codes_are_averaged_in_boxes_and_scaled_by_their_bits() -> None:
    values = np.zeros((540, 960, 3), np.uint16)
    values[:, ::4] = 1023
    values[..., 2] = 512

    look = look_at(RgbCodes(values, 10), "1001")

    assert look.picture.shape == (135, 240, 3)
    assert set(np.unique(look.picture[..., 0])) == {64}  # a quarter of 255, rounded
    assert set(np.unique(look.picture[..., 2])) == {128}


@pytest.mark.parametrize(("light", "code"), [(0.18, 118), (0.001, 3), (7.0, 255), (-0.1, 0)])
def test_floats_are_shown_through_the_srgb_curve(light: float, code: int) -> None:
    """IEC 61966-2-1: 1.055 * 0.18^(1/2.4) - 0.055 = 0.4614; 12.92 * 0.001 = 0.0129."""
    pixels = FloatPixels(np.full((9, 16, 3), light, np.float32))

    assert set(np.unique(look_at(pixels, "").picture)) == {code}


@pytest.mark.parametrize(("full_range", "code"), [(False, 255), (True, 235)])
def test_a_clips_white_is_shown_by_its_range(full_range: bool, code: int) -> None:
    """ITU-R BT.709-6 item 5: limited white is code 235."""
    half = np.full((9, 16), 128, np.uint16)
    planes = VideoPlanes(np.full((18, 32), 235, np.uint16), half, half, 8, "bt709")

    assert set(np.unique(look_at(planes, "0", full_range=full_range).picture)) == {code}


def test_the_brightest_picture_decides_so_that_a_flash_is_no_black_pass() -> None:
    unlit = Look("1", np.full((90, 160, 3), 5, np.uint8))
    flash = Look("2", np.tile(np.linspace(0, 255, 160, dtype=np.uint8)[None, :, None], (90, 1, 3)))

    light = measure_light([unlit, flash, unlit])

    assert light is not None
    assert light.span == pytest.approx(0.995, abs=0.005)  # box means of the outer columns
    assert light.two_tone == pytest.approx(0.25, abs=0.02)
    assert measure_light([]) is None


def test_numbers_are_spread_evenly_with_both_ends() -> None:
    assert spread_over(range(1001, 1113), 4) == [1001, 1038, 1075, 1112]
    assert spread_over([7, 9]) == [7, 9]
