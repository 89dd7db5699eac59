"""A pass as recorded: cropped, its clipped pixels known, coverage as premultiplied light."""

import numpy as np
import pytest

from glimsum_jobs.errors import SourceError
from glimsum_jobs.passes import Crop, Level, Pass, WhiteBalance
from glimsum_workers.engine.codes import FloatPixels, RgbCodes, VideoPlanes
from glimsum_workers.engine.metrics import as_plane
from glimsum_workers.footage.recorded import (
    decode_pass,
    decode_plane,
    exposed,
    stops_of,
    without_dark,
)
from support.small_shots import exr_pass, flat, grain, small_shot


def pass_of(space: str = "lin_ap1_scene", **more: object) -> Pass:
    return Pass.model_validate({"files": "plates:a.%04d.exr", "space": space, **more})


def test_floats_come_through_as_they_are_with_negatives_and_lamps() -> None:
    light = grain(1) * 40

    recorded = decode_pass(pass_of(), FloatPixels(light, None, True))

    np.testing.assert_array_equal(recorded.picture.rgb, light)
    assert not recorded.clipped.any()
    assert recorded.replaced == 0


def test_a_crop_takes_the_rows_and_columns_it_names() -> None:
    light, alpha = grain(1), grain(2)[..., 0]
    crop = Crop(x=5, y=3, width=20, height=10)

    recorded = decode_pass(pass_of(crop=crop), FloatPixels(light, alpha, True))

    np.testing.assert_array_equal(recorded.picture.rgb, light[3:13, 5:25])
    np.testing.assert_array_equal(recorded.picture.alpha, alpha[3:13, 5:25])
    assert recorded.clipped.shape == (10, 20)


@pytest.mark.parametrize(("associated", "expected"), [(True, 0.5), (False, 0.125)])
def test_colour_stored_without_its_coverage_is_multiplied_by_it(
    associated: bool, expected: float
) -> None:
    alpha = np.full((36, 64), 0.25, np.float32)

    recorded = decode_pass(pass_of(), FloatPixels(flat([0.5, 0.5, 0.5]), alpha, associated))

    assert recorded.picture.rgb[0, 0].tolist() == [expected] * 3


# Compressed 8-bit codes ring by a code around the top, so 254 counts as clipped there (common
# practice, no source).
@pytest.mark.parametrize(
    ("bits", "codes", "clipped"),
    [(8, (253, 254, 255), [0, 1, 1]), (10, (1021, 1022, 1023), [0, 0, 1])],
)
def test_pixels_at_the_top_of_what_the_file_holds_are_known(
    bits: int, codes: tuple[int, ...], clipped: list[int]
) -> None:
    values = np.array(codes, np.uint16).reshape(1, 3, 1).repeat(3, axis=2)

    recorded = decode_pass(pass_of("srgb_rec709_scene"), RgbCodes(values, bits, None, True))

    assert recorded.clipped.tolist() == [[bool(each) for each in clipped]]


def test_clipped_luma_of_a_clip_is_known() -> None:
    luma = np.array([[16, 235, 253, 254, 255, 128]], np.uint16)
    grey = np.full((1, 6), 128, np.uint16)
    each = pass_of("ocio:itu709_rec709_scene", range="limited")

    recorded = decode_pass(each, VideoPlanes(luma, grey, grey, 8, "bt709", "left"))

    assert recorded.clipped.tolist() == [[False, False, False, True, True, False]]


def test_a_stated_dark_level_is_taken_away_below_zero_too() -> None:
    each = pass_of(dark=Level(level=(0.25, 0.125, 0.5)))

    rgb, mended = without_dark(each, flat([0.3, 0.3, 0.3]), None, None)

    np.testing.assert_allclose(rgb[0, 0], [0.05, 0.175, -0.2], atol=1e-7)
    assert mended == 0


def test_white_balance_and_exposure_multiply_by_gains_and_two_to_the_minus_stops() -> None:
    balance = WhiteBalance(gains=(2.0, 1.0, 0.5))
    job = small_shot(
        passes={
            "key": exr_pass("key"),
            "bulbs": exr_pass("bulbs", white_balance=balance.model_dump())
            | {"exposure": {"stops": 2}},
        }
    )

    # 0.4 * gains * 2^-2, by hand
    rgb = exposed(job, "bulbs", flat([0.4, 0.4, 0.4]))

    np.testing.assert_allclose(rgb[0, 0], [0.2, 0.1, 0.05], rtol=1e-7)


def test_stops_count_from_the_unit_pass() -> None:
    passes = {
        "key": exr_pass("key") | {"exposure": {"stops": 0.5}},
        "bulbs": exr_pass("bulbs") | {"exposure": {"stops": -1.5}},
    }

    assert stops_of(small_shot(passes=passes), "bulbs") == -2.0
    assert stops_of(small_shot(passes=passes, unit="bulbs"), "key") == 2.0
    assert stops_of(small_shot(passes=passes), "key") == 0.0


@pytest.mark.parametrize("bits", [8, 10, 16])
@pytest.mark.parametrize("crop", [None, {"x": 3, "y": 5, "width": 40, "height": 20}])
def test_a_plane_is_the_mean_of_what_is_decoded_and_clips_where_that_does(
    bits: int, crop: dict[str, int] | None
) -> None:
    random = np.random.default_rng(bits)
    values = random.integers(0, 1 << bits, (64, 96, 3))
    codes = RgbCodes(values.astype(np.uint8) if bits == 8 else values.astype(np.uint16), bits)
    each = pass_of("srgb_rec709_scene", **({"crop": crop} if crop else {}))

    plane, clipped = decode_plane(each, codes)

    recorded = decode_pass(each, codes)
    np.testing.assert_allclose(plane, as_plane(recorded.picture.rgb), rtol=2e-7)
    np.testing.assert_array_equal(clipped, recorded.clipped)


def test_a_plane_of_codes_beyond_their_bits_is_refused() -> None:
    codes = RgbCodes(np.full((64, 64, 3), 1024, np.uint16), 10)

    with pytest.raises(SourceError, match="code 1024"):
        decode_plane(pass_of("srgb_rec709_scene"), codes)


def test_a_plane_of_floats_is_their_mean() -> None:
    values = np.random.default_rng(2).random((48, 50, 3), dtype=np.float32)

    plane, clipped = decode_plane(pass_of(), FloatPixels(values))

    np.testing.assert_array_equal(plane, as_plane(values))
    assert not clipped.any()
