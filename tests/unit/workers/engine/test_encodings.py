"""Decoding: what passes through, what is refused, and what is replaced."""

import numpy as np
import pytest
from numpy.typing import NDArray

from glimsum_jobs.errors import SourceError
from glimsum_jobs.spaces import SPACES
from glimsum_workers.engine.codes import FloatPixels, RgbCodes, VideoPlanes
from glimsum_workers.engine.curves import CURVES, Curve
from glimsum_workers.engine.encodings import decode


def grey_clip(code: int, bits: int = 10) -> VideoPlanes:
    luma = np.full((4, 6), code, dtype=np.uint16)
    neutral = np.full((2, 3), 1 << (bits - 1), dtype=np.uint16)
    return VideoPlanes(luma, neutral, neutral, bits, "bt709")


def floats(*values: float) -> FloatPixels:
    return FloatPixels(np.array(values, dtype=np.float32).reshape(1, -1, 1).repeat(3, axis=2))


def assert_between(
    light: NDArray[np.float32], curve: Curve, encoded: NDArray[np.float64], step: float
) -> None:
    """Hold `light` to what the curve gives within `step` of the encoded value.

    Unlike a tolerance on the light it holds at the small jumps that some makers' formulas have.
    """
    near = np.stack([curve(encoded + step * part) for part in np.linspace(-1, 1, 33)])
    slack = 1e-6 * np.abs(curve(encoded)) + 1e-9
    assert np.all(light >= near.min(axis=0) - slack)
    assert np.all(light <= near.max(axis=0) + slack)


@pytest.mark.parametrize("space", [name for name, each in SPACES.items() if each.curve])
def test_integer_codes_and_floats_of_the_same_value_give_the_same_light(space: str) -> None:
    codes = np.arange(1024, dtype=np.uint16).reshape(32, 32, 1).repeat(3, axis=2)
    values = (codes / 1023.0).astype(np.float32)

    by_table = decode(RgbCodes(codes, 10), space).picture.rgb
    by_formula = decode(FloatPixels(values), space).picture.rgb

    assert by_table.dtype == np.float32
    assert_between(by_table, CURVES[SPACES[space].curve or ""], codes / 1023.0, 1e-7)
    assert_between(by_formula, CURVES[SPACES[space].curve or ""], codes / 1023.0, 1e-7)


@pytest.mark.parametrize("space", [name for name, each in SPACES.items() if each.curve])
@pytest.mark.parametrize("video_range", ["limited", "full"])
def test_clip_table_is_as_near_to_the_curve_as_stated(space: str, video_range: str) -> None:
    bits, known = 12, SPACES[space]
    ramp = np.arange(4096, dtype=np.uint16).reshape(64, 64)
    neutral = np.full((64, 64), 2048, dtype=np.uint16)
    planes = VideoPlanes(ramp, neutral, neutral, bits, "bt709")
    encoded = (ramp - 256.0) / 3504 if video_range == "limited" else ramp / 4095.0
    if video_range == "limited" and known.video_codes == "unscaled":
        encoded = (encoded * 876 + 64) / 1023
    curve = CURVES[known.curve or ""]
    step = 3.6e-6

    limited = video_range == "limited"
    light = decode(planes, space, video_range="limited" if limited else "full").picture.rgb

    for channel in range(3):
        assert_between(light[..., channel], curve, encoded, step)


def test_codes_below_black_and_above_white_of_a_clip_stay_apart() -> None:
    light = [
        float(decode(grey_clip(code), "ocio:itu709_rec709_scene", video_range="limited")
              .picture.rgb[0, 0, 1])
        for code in (4, 40, 64, 940, 1000, 1019)
    ]  # fmt: skip

    assert light == sorted(light)
    assert len(set(light)) == 6
    assert light[1] < 0 < light[3] < light[4]


def test_not_finite_values_become_nought_and_are_counted() -> None:
    pixels = FloatPixels(
        np.array([[[np.nan, 1, 2], [np.inf, -np.inf, -3]]], dtype=np.float32),
        alpha=np.array([[0.5, np.nan]], dtype=np.float32),
    )

    decoded = decode(pixels, "lin_ap1_scene")

    assert decoded.replaced == 4
    expected: NDArray[np.float32] = np.array([[[0, 1, 2], [0, 0, -3]]], dtype=np.float32)
    np.testing.assert_array_equal(decoded.picture.rgb, expected)
    assert decoded.picture.alpha is not None
    np.testing.assert_array_equal(decoded.picture.alpha, np.array([[0.5, 0]], dtype=np.float32))
    assert np.isnan(pixels.values[0, 0, 0]), "the caller's array is not changed"


def test_log_values_too_large_for_light_are_counted_not_passed_on() -> None:
    decoded = decode(floats(0.5, 1000.0), "ocio:slog3_sgamut3_scene")

    assert decoded.replaced == 3
    assert np.isfinite(decoded.picture.rgb).all()


def test_linear_and_data_are_only_scaled() -> None:
    codes = np.array([[[0, 51, 255]]], dtype=np.uint8)

    for space in ("lin_rec2020_scene", "data"):
        rgb = decode(RgbCodes(codes, 8), space).picture.rgb
        np.testing.assert_array_equal(rgb, np.array([[[0, 0.2, 1]]], dtype=np.float32))
    negative = decode(floats(-0.25, 70000.0), "lin_ap0_scene").picture.rgb
    np.testing.assert_array_equal(negative[0, :, 0], np.array([-0.25, 70000], dtype=np.float32))


def test_alpha_passes_untouched() -> None:
    alpha = np.array([[0.25]], dtype=np.float32)
    codes = RgbCodes(np.array([[[1, 2, 3]]], dtype=np.uint8), 8, alpha)

    assert decode(codes, "srgb_rec709_scene").picture.alpha is alpha


@pytest.mark.parametrize("space", ["g22_rec709_scene", "g18_rec709_scene", "g22_adobergb_scene"])
def test_noise_round_black_keeps_its_mean_in_power_curves(space: str) -> None:
    rgb = decode(floats(-0.05, 0.05, -0.3, 0.3), space).picture.rgb

    np.testing.assert_array_equal(rgb[0, 0::2], -rgb[0, 1::2])
    assert rgb[0, 1, 0] > 0


def test_clip_without_a_range_is_refused() -> None:
    with pytest.raises(SourceError, match=r"seen: a clip in ocio:vlog_vgamut_scene.*limited"):
        decode(grey_clip(433), "ocio:vlog_vgamut_scene")


def test_code_beyond_its_bits_is_refused_with_the_numbers() -> None:
    codes = RgbCodes(np.full((2, 2, 3), 1024, dtype=np.uint16), 10)

    with pytest.raises(SourceError, match=r"seen: code 1024; expected: 0 to 1023 \(10 bits\)"):
        decode(codes, "ocio:acescct_ap1_scene")
    with pytest.raises(SourceError, match=r"seen: code 256; expected: 0 to 255 \(8 bits\)"):
        decode(grey_clip(256, bits=8), "ocio:itu709_rec709_scene", video_range="full")


def test_unknown_space_is_refused() -> None:
    with pytest.raises(SourceError, match="seen: acescct"):
        decode(floats(0.5), "acescct")
