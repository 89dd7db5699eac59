"""Clips: codes worked by hand from ITU-R BT.709, BT.601 and BT.2020, and the makers' grey codes.

Kr, Kb and the code ranges are from memory of the Recommendations and are held here against
colour-science, which carries them apart from this project.
"""

import warnings

import numpy as np
import pytest

from glimsum_workers.engine.codes import Matrix, RgbCodes, VideoPlanes
from glimsum_workers.engine.encodings import decode
from glimsum_workers.engine.video import VideoRange, rgb_from_planes

with warnings.catch_warnings():
    # colour-science says at import that it can't draw diagrams.
    warnings.filterwarnings("ignore", message='.*"Matplotlib" related API features')
    import colour


def one_pixel(y: int, cb: int, cr: int, bits: int = 10, matrix: Matrix = "bt709") -> VideoPlanes:
    y_plane, cb_plane, cr_plane = (np.array([[code]], dtype=np.uint16) for code in (y, cb, cr))
    return VideoPlanes(y_plane, cb_plane, cr_plane, bits, matrix)


@pytest.mark.parametrize(
    ("code", "signal"),
    # (code - 64) / 876, BT.709-6 item 5; 40 and 1000 lie outside black and white.
    [
        (40, -24 / 876),
        (64, 0),
        (420, 356 / 876),
        (700, 636 / 876),
        (940, 1),
        (1000, 936 / 876),
        (4, -60 / 876),
        (1019, 955 / 876),
    ],
)
def test_limited_luma_codes_keep_what_is_below_black_and_above_white(
    code: int, signal: float
) -> None:
    rgb = rgb_from_planes(one_pixel(code, 512, 512), "limited")

    np.testing.assert_allclose(rgb[0, 0], [signal] * 3, atol=1e-7)


@pytest.mark.parametrize(
    ("code", "light"),
    # Inverse BT.709 camera curve of the signals above, worked apart from the code:
    # 4.5 L below 0.081, else ((V + 0.099) / 1.099)^(1 / 0.45).
    [(40, -0.0060883), (64, 0), (420, 0.1779474), (700, 0.5287717), (940, 1), (1000, 1.143795)],
)
def test_limited_codes_have_the_light_of_the_camera_curve(code: int, light: float) -> None:
    decoded = decode(one_pixel(code, 512, 512), "ocio:itu709_rec709_scene", video_range="limited")

    np.testing.assert_allclose(decoded.picture.rgb[0, 0], [light] * 3, rtol=2e-5, atol=1e-6)


def test_full_range_is_code_over_its_maximum() -> None:
    rgb = rgb_from_planes(one_pixel(255, 128, 128, bits=8), "full")
    np.testing.assert_allclose(rgb[0, 0], [1, 1, 1], atol=1e-7)
    red = rgb_from_planes(one_pixel(0, 128, 255, bits=8), "full")
    # Cr = 127 / 255; R' = 1.5748 Cr, G' = -0.2126 * 1.5748 / 0.7152 Cr.
    np.testing.assert_allclose(red[0, 0], [1.5748 * 127 / 255, -0.468124 * 127 / 255, 0], atol=1e-6)


@pytest.mark.parametrize("matrix", ["bt601", "bt709", "bt2020"])
@pytest.mark.parametrize("bits", [8, 10, 12])
@pytest.mark.parametrize("video_range", ["limited", "full"])
def test_planes_agree_with_colour_science(
    matrix: Matrix, bits: int, video_range: VideoRange
) -> None:
    rng = np.random.default_rng(bits)
    codes = rng.integers(0, 1 << bits, (12, 16, 3)).astype(np.uint16)
    planes = VideoPlanes(codes[..., 0], codes[..., 1], codes[..., 2], bits, matrix)
    names = {"bt601": "ITU-R BT.601", "bt709": "ITU-R BT.709", "bt2020": "ITU-R BT.2020"}

    expected = colour.YCbCr_to_RGB(
        codes,
        K=colour.WEIGHTS_YCBCR[names[matrix]],
        in_bits=bits,
        in_legal=video_range == "limited",
        in_int=True,
        out_bits=bits,
        out_legal=False,
        out_int=False,
        clamp_int=False,
    )

    np.testing.assert_allclose(rgb_from_planes(planes, video_range), expected, atol=1e-6)


@pytest.mark.parametrize(
    ("space", "code"),
    # Sony S-Log3 and S-Log2, Panasonic V-Log, Fujifilm F-Log and F-Log2, Canon Log: 10-bit code
    # of 18 % grey in the makers' tables, as colour-science quotes or computes them.
    [
        ("ocio:slog3_sgamut3cine_scene", 420),
        ("glimsum:slog2_sgamut_scene", 347),
        ("ocio:vlog_vgamut_scene", 433),
        ("glimsum:flog_rec2020_scene", 470),
        ("glimsum:flog2_rec2020_scene", 400),
        ("glimsum:canonlog_cgamutd55_scene", 351),
    ],
)
def test_makers_grey_code_is_grey_in_a_limited_clip_a_full_one_and_a_still(
    space: str, code: int
) -> None:
    still = RgbCodes(np.full((1, 1, 3), code, dtype=np.uint16), 10)

    for decoded in (
        decode(one_pixel(code, 512, 512), space, video_range="limited"),
        decode(one_pixel(code, 512, 512), space, video_range="full"),
        decode(still, space),
        decode(still, space, video_range="limited"),
    ):
        # Half a code is worth 0.5 to 0.8 % of the light on these curves.
        np.testing.assert_allclose(decoded.picture.rgb[0, 0], [0.18] * 3, rtol=9e-3)


def test_taking_s_log3_for_scaled_codes_would_cost_half_a_stop() -> None:
    # Code 700: (700 - 64) / 876 instead of 700 / 1023; the difference is what the list guards.
    right = decode(
        one_pixel(700, 512, 512), "ocio:slog3_sgamut3cine_scene", video_range="limited"
    ).picture.rgb[0, 0, 1]
    scaled = 0.19 * 10 ** (((700 - 64) / 876 * 1023 - 420) / 261.5) - 0.01

    assert 0.4 < np.log2(scaled / right) < 0.6


def test_eight_bit_clip_has_its_grey_at_a_quarter_of_the_ten_bit_code() -> None:
    decoded = decode(
        one_pixel(105, 128, 128, bits=8), "ocio:slog3_sgamut3cine_scene", video_range="limited"
    )

    np.testing.assert_allclose(decoded.picture.rgb[0, 0], [0.18] * 3, rtol=1e-4)
