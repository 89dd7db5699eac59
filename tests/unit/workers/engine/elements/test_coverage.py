"""Colour and coverage of an element: premultiplied, straight, none, and what is kept out."""

import numpy as np
import pytest

from glimsum_jobs.errors import SourceError
from glimsum_workers.engine.codes import FloatPixels, Picture, RgbCodes
from glimsum_workers.engine.elements.coverage import Alpha, keep_out, light_of_element

SRGB = "srgb_rec709_scene"


def floats(value: float, alpha: float | None, associated: bool = True) -> FloatPixels:
    plane = None if alpha is None else np.full((2, 3), alpha, np.float32)
    return FloatPixels(np.full((2, 3, 3), value, np.float32), plane, associated)


def codes(value: int, alpha: float, associated: bool) -> RgbCodes:
    plane = np.full((2, 3), alpha, np.float32)
    return RgbCodes(np.full((2, 3, 3), value, np.uint8), 8, plane, associated)


@pytest.mark.parametrize(
    ("alpha", "associated", "light"),
    [(None, True, 0.4), (None, False, 0.1), ("straight", True, 0.1), ("premultiplied", False, 0.4)],
)
def test_what_the_job_says_of_coverage_outweighs_the_file(
    alpha: Alpha | None, associated: bool, light: float
) -> None:
    made = light_of_element(floats(0.4, 0.25, associated), "lin_ap1_scene", alpha=alpha)

    assert made.alpha is not None
    assert made.alpha[0, 0] == np.float32(0.25)
    np.testing.assert_allclose(made.rgb, light, rtol=1e-6)


def test_none_looks_at_no_coverage() -> None:
    made = light_of_element(floats(0.4, 0.25), "lin_ap1_scene", alpha="none")

    assert made.alpha is None
    np.testing.assert_allclose(made.rgb, 0.4, rtol=1e-6)


# IEC 61966-2-1: code 0.5 is light 0.2140411 (((0.5 + 0.055) / 1.055) ** 2.4, by hand).
def test_premultiplied_codes_are_divided_before_they_are_light() -> None:
    half = light_of_element(codes(51, 0.4, True), SRGB)  # 51 / 255 / 0.4 = 0.5

    np.testing.assert_allclose(half.rgb, 0.4 * 0.2140411, rtol=1e-5)


def test_straight_and_premultiplied_files_of_one_element_are_one_light() -> None:
    straight = light_of_element(codes(150, 0.2, False), SRGB)
    multiplied = light_of_element(codes(30, 0.2, True), SRGB)

    np.testing.assert_allclose(straight.rgb, multiplied.rgb, rtol=1e-5)


def test_light_without_coverage_stays_light() -> None:
    made = light_of_element(floats(3.0, 0.0), "lin_ap1_scene")

    np.testing.assert_array_equal(made.rgb, np.float32(3))


def test_premultiplied_codes_of_limited_range_are_refused() -> None:
    with pytest.raises(SourceError, match="limited range are not read") as refused:
        light_of_element(codes(51, 0.4, True), SRGB, video_range="limited")

    assert "alpha: premultiplied, range: limited" in refused.value.seen


# Porter & Duff 1984, operator A out B: colour and coverage of A times (1 - alpha of B).
def test_a_holdout_takes_colour_and_coverage_away() -> None:
    picture = Picture(np.full((1, 3, 3), 0.5, np.float32), np.full((1, 3), 0.5, np.float32))
    matte = np.array([[0, 0.25, 1]], np.float32)

    left = keep_out(picture, matte)

    assert left.alpha is not None
    assert left.alpha.tolist() == [[0.5, 0.375, 0]]
    assert left.rgb[0, :, 1].tolist() == [0.5, 0.375, 0]


def test_a_holdout_gives_coverage_to_what_had_none() -> None:
    left = keep_out(Picture(np.ones((1, 2, 3), np.float32)), np.array([[0, 1]], np.float32))

    assert left.alpha is not None
    assert left.alpha.tolist() == [[1, 0]]
