"""What the flash guard takes a colour for, against colour-science and the published formulas."""

import warnings
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from glimsum_workers.engine.flashes.light import DisplayLight
from glimsum_workers.engine.flashes.screen import Screen
from support.flash_proofs import red, watch

with warnings.catch_warnings():
    # colour-science says at import that it can't draw diagrams.
    warnings.filterwarnings("ignore", message='.*"Matplotlib" related API features')
    import colour

Floats = NDArray[np.float64]
CODES = np.random.default_rng(11).integers(16, 256, (24, 24, 3), dtype=np.uint8)


def light_of(display: str) -> DisplayLight:
    return DisplayLight(Screen(24, 24), display)


def by_colour_science(codes: Floats, space: str) -> Floats:
    """Return XYZ of codes by colour-science, not adapted."""
    told: Any = colour.RGB_COLOURSPACES[space]
    return np.asarray(colour.RGB_to_XYZ(codes, told, apply_cctf_decoding=True), np.float64)


@pytest.mark.parametrize(
    ("display", "space", "tolerance"),
    [("srgb_rec709_display", "sRGB", 2e-4), ("srgb_p3d65_display", "Display P3", 2e-4)],
)
def test_luminance_and_chromaticity_are_those_of_colour_science(
    display: str, space: str, tolerance: float
) -> None:
    told = light_of(display).read(CODES)
    xyz = by_colour_science(CODES / 255, space)
    uv = np.asarray(colour.xy_to_Luv_uv(colour.XYZ_to_xy(xyz)), np.float64)
    np.testing.assert_allclose(told.luminance, xyz[..., 1], atol=tolerance)
    np.testing.assert_allclose(np.moveaxis(told.chromaticity, 0, 2), uv, atol=tolerance)


def test_relative_luminance_is_that_of_the_guideline() -> None:
    # WCAG 2.2, "relative luminance": 0.2126 R + 0.7152 G + 0.0722 B, each ((c + 0.055) / 1.055)
    # ^ 2.4 above 0.04045 and c / 12.92 below.
    codes = CODES / 255
    linear = np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4)
    told = light_of("srgb_rec709_display").read(CODES)
    np.testing.assert_allclose(told.luminance, linear @ [0.2126, 0.7152, 0.0722], atol=1e-4)
    redness = np.maximum(linear @ [1, -1, -1], 0)
    np.testing.assert_allclose(told.redness, redness, atol=1e-6)


# Distances in u'v' on sRGB between colours of linear light, by colour-science, whose sRGB matrix
# is rounded to four places (IEC 61966-2-1); ours is made from the primaries.
RED, WHITE, BLUE, GREEN = (1, 0, 0), (1, 1, 1), (0, 0, 1), (0, 1, 0)
PAIRS = [
    (RED, WHITE, 0.2588),
    (RED, BLUE, 0.4572),
    (RED, GREEN, 0.3282),
    ((0.8, 0.1, 0.1), WHITE, 0.1479),
]


@pytest.mark.parametrize(("one", "other", "distance"), PAIRS)
def test_distances_of_colours_are_the_published_ones(
    one: tuple[float, ...], other: tuple[float, ...], distance: float
) -> None:
    light = light_of("srgb_rec709_display").judge(np.array([[one, other]], np.float32))
    first, second = light.chromaticity[:, 0, 0], light.chromaticity[:, 0, 1]
    assert float(np.hypot(*(first - second))) == pytest.approx(distance, abs=2e-4)
    xyz = np.asarray(colour.RGB_to_XYZ(np.array([one, other], np.float64), "sRGB"))
    uv = np.asarray(colour.xy_to_Luv_uv(colour.XYZ_to_xy(xyz)))
    assert float(np.hypot(*(uv[0] - uv[1]))) == pytest.approx(distance, abs=1e-4)


def test_red_counts_by_either_definition() -> None:
    # (0.8, 0.1, 0.1) and white: u'v' 0.1479, but (R - G - B) x 320 goes from 192 to 0.
    pale = (232, 89, 89)  # 0.807, 0.1, 0.1
    assert red((255, 255, 255), pale) == 4
    for other in ((255, 255, 255), (0, 0, 255), (0, 255, 0), (0, 0, 0)):
        assert red(other, (255, 0, 0)) == 4


def test_black_has_the_white_point() -> None:
    light = light_of("srgb_rec709_display").judge(np.zeros((1, 1, 3), np.float32))
    # D65: u' 0.1978, v' 0.4683 (CIE 15).
    np.testing.assert_allclose(light.chromaticity[:, 0, 0], [0.1978, 0.4683], atol=1e-4)


def test_other_saturated_colours_are_no_red_flashes() -> None:
    blue = np.zeros((9, 16, 3), np.uint8)
    blue[..., 2] = 255
    pictures = [blue if frame % 3 == 0 else blue // 255 for frame in range(24)]
    assert {each.kind for each in watch(pictures).found()} <= {"general"}
