"""Encoding curves against the makers' printed codes, two independent libraries, and worked values.

The makers' codes for 0, 18 and 90 % reflectance are read from the tables that colour-science
quotes beside its functions (Fujifilm F-Log 1.1 and F-Log2 1.0 data sheets, Panasonic V-Log
manual, Sony S-Log2 and S-Log3 papers) or are computed from the makers' formulas by that library.
"""

import warnings
from collections.abc import Callable
from typing import Any

import numpy as np
import PyOpenColorIO
import pytest
from numpy.typing import NDArray

from glimsum_jobs.spaces import CONFIG, SPACES
from glimsum_workers.engine.curves import CURVES

with warnings.catch_warnings():
    # colour-science says at import that it can't draw diagrams.
    warnings.filterwarnings("ignore", message='.*"Matplotlib" related API features')
    from colour.models import (
        log_decoding_ACEScc,
        log_decoding_ACEScct,
        log_decoding_AppleLogProfile,
        log_decoding_ARRILogC3,
        log_decoding_ARRILogC4,
        log_decoding_CanonLog,
        log_decoding_CanonLog2,
        log_decoding_CanonLog3,
        log_decoding_DJIDLog,
        log_decoding_FLog,
        log_decoding_FLog2,
        log_decoding_LLog,
        log_decoding_Log3G10,
        log_decoding_NLog,
        log_decoding_SLog2,
        log_decoding_SLog3,
        log_decoding_VLog,
        oetf_inverse_BlackmagicFilmGeneration5,
        oetf_inverse_BT709,
    )
    from colour.models.rgb.transfer_functions import eotf_sRGB

ocio: Any = PyOpenColorIO

BY_COLOUR_SCIENCE: dict[str, Callable[[NDArray[np.float64]], Any]] = {
    "srgb": eotf_sRGB,
    "bt709": oetf_inverse_BT709,
    "acescc": log_decoding_ACEScc,
    "acescct": log_decoding_ACEScct,
    "apple_log": log_decoding_AppleLogProfile,
    "arri_logc3_ei800": log_decoding_ARRILogC3,
    "arri_logc4": log_decoding_ARRILogC4,
    "blackmagic_film_5": oetf_inverse_BlackmagicFilmGeneration5,
    "canon_log": log_decoding_CanonLog,
    "canon_log2": log_decoding_CanonLog2,
    "canon_log3": log_decoding_CanonLog3,
    "dji_d_log": log_decoding_DJIDLog,
    "fujifilm_f_log": log_decoding_FLog,
    "fujifilm_f_log2": log_decoding_FLog2,
    "leica_l_log": log_decoding_LLog,
    "nikon_n_log": log_decoding_NLog,
    "panasonic_v_log": log_decoding_VLog,
    "red_log3g10": log_decoding_Log3G10,
    "sony_s_log2": log_decoding_SLog2,
    "sony_s_log3": log_decoding_SLog3,
}


def light(curve: str, *codes: float) -> NDArray[np.float64]:
    return CURVES[curve](np.array(codes, dtype=np.float64))


def test_every_curve_but_the_pure_powers_is_checked() -> None:
    assert set(BY_COLOUR_SCIENCE) == {name for name in CURVES if not name.startswith("power")}


@pytest.mark.parametrize("curve", BY_COLOUR_SCIENCE)
def test_curve_agrees_with_colour_science_over_all_codes_and_beyond(curve: str) -> None:
    codes = np.linspace(-0.08, 1.10, 4001)
    if curve == "acescc":
        codes = codes[codes < 1.0]  # beyond, S-2014-003 clamps at 65504 and we do not
    if curve == "sony_s_log2":
        codes = codes[np.abs(codes - 0.08825) > 1e-4]  # the library splits one ulp apart

    with np.errstate(invalid="ignore"):  # the library works out branches it then leaves
        expected = np.asarray(BY_COLOUR_SCIENCE[curve](codes))

    # ARRI prints LogC3 at EI 800 with six digits and the library uses those; ours are the
    # fifteen digits of the same formula.
    loose = curve == "arri_logc3_ei800"
    np.testing.assert_allclose(
        CURVES[curve](codes), expected, rtol=2e-5 if loose else 1e-9, atol=2e-6 if loose else 1e-9
    )


@pytest.mark.parametrize(
    "space",
    [space.id for space in SPACES.values() if space.curve and space.config_name],
)
def test_curve_agrees_with_opencolorio_where_it_does_not_clip(space: str) -> None:
    # The whole way of the configuration, in its own arithmetic and with its own matrix, on grey.
    known = SPACES[space]
    codes = np.linspace(0, 1, 2001)
    grey = codes.astype(np.float32)[:, np.newaxis].repeat(3, axis=1)
    config = ocio.Config.CreateFromFile(CONFIG)
    config.getProcessor(known.config_name, "ACES2065-1").getOptimizedCPUProcessor(
        ocio.OPTIMIZATION_LOSSLESS
    ).applyRGB(grey)

    ours = CURVES[known.curve or ""](codes)

    # The configuration derives the slope of each toe from continuity instead of taking the
    # printed one: 0.3 % in the toe of BT.709, 0.09 % in D-Log's, 0.03 % in sRGB's; the rest is
    # its float32.
    loose = {"bt709": 3.1e-3, "dji_d_log": 9e-4, "srgb": 2.6e-4}
    rtol = loose.get(known.curve or "", 8e-5)
    np.testing.assert_allclose(grey.mean(axis=1), ours, rtol=rtol, atol=2e-6)


@pytest.mark.parametrize(
    ("curve", "grey_code", "white_code"),
    # Code of 18 % and of 90 % reflectance, 0..1, as published and reproduced by two libraries.
    [
        ("arri_logc3_ei800", 0.391007, 0.559432),
        ("arri_logc4", 0.278396, 0.417959),
        ("sony_s_log3", 0.410557, 0.584453),
        ("panasonic_v_log", 0.423311, 0.588167),
        ("canon_log2", 0.398255, 0.562304),
        ("canon_log3", 0.343389, 0.564474),
        ("canon_log", 0.343390, 0.599814),
        ("red_log3g10", 0.333333, 0.483361),
        ("dji_d_log", 0.398765, 0.572944),
        ("apple_log", 0.488272, 0.681687),
        ("blackmagic_film_5", 0.383561, 0.521384),
        ("fujifilm_f_log", 0.459318, 0.689503),
        ("fujifilm_f_log2", 0.391007, 0.557132),
        ("nikon_n_log", 0.363668, 0.589634),
        ("leica_l_log", 0.435314, 0.619557),
        ("sony_s_log2", 0.339533, 0.568950),
    ],
)
def test_published_codes_of_grey_and_white(curve: str, grey_code: float, white_code: float) -> None:
    np.testing.assert_allclose(light(curve, grey_code, white_code), [0.18, 0.90], rtol=3e-5)


def test_printed_ten_bit_codes_are_code_over_1023() -> None:
    # Sony: 95, 420, 598; Panasonic: 128, 433, 602; Fujifilm F-Log: 95, 470, 705.
    for curve, codes in (
        ("sony_s_log3", (95, 420, 598)),
        ("panasonic_v_log", (128, 433, 602)),
        ("fujifilm_f_log", (95, 470, 705)),
    ):
        half_a_code = 0.5 / 1023
        low = light(curve, *(code / 1023 - half_a_code for code in codes))
        high = light(curve, *(code / 1023 + half_a_code for code in codes))
        assert np.all(low <= [0, 0.18, 0.90])
        assert np.all(high >= [0, 0.18, 0.90])


def test_standard_curves_have_their_worked_values() -> None:
    # IEC 61966-2-1 worked by hand; BT.709-6: 4.5 L below 0.018, 1.099 L^0.45 - 0.099 above;
    # S-2016-001: ACEScct of 0.18 is 0.4135884.
    np.testing.assert_allclose(light("srgb", 0.461356, 0.5, 128 / 255), [0.18, 0.214041, 0.215861],
                               atol=1e-6)  # fmt: skip
    np.testing.assert_allclose(light("srgb", -0.04, 0.04), [-0.04 / 12.92, 0.04 / 12.92])
    np.testing.assert_allclose(light("bt709", 0.409008, 0.081248), [0.18, 0.018], atol=1e-6)
    np.testing.assert_allclose(light("bt709", 0.0405, -0.045), [0.009, -0.010], atol=1e-12)
    np.testing.assert_allclose(light("acescct", 0.4135884), [0.18], atol=1e-7)
    np.testing.assert_allclose(light("acescc", 0.4135884), [0.18], atol=1e-7)
    np.testing.assert_allclose(light("power_563/256", 0.5), [0.5**2.19921875])
