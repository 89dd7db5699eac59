"""Planck locus, mired shifts of filters, and tints, against handbook tables and colour-science."""

import warnings

import numpy as np
import pytest

from glimsum_workers.engine.planck import planck_xy
from glimsum_workers.engine.spaces import xyz_from_rgb
from glimsum_workers.engine.tint import shift_mired, tint_matrix

with warnings.catch_warnings():
    # colour-science says at import that it can't draw diagrams.
    warnings.filterwarnings("ignore", message='.*"Matplotlib" related API features')
    import colour


@pytest.mark.parametrize(
    ("kelvin", "x", "y"),
    # CIE 1931 2 degree, 360 to 780 nm in 1 nm steps, computed apart from this project.
    [
        (2000, 0.52668, 0.41330),
        (2700, 0.45986, 0.41060),
        (2856, 0.44754, 0.40743),
        (3200, 0.42336, 0.39895),
        (4300, 0.36811, 0.36869),
        (5600, 0.33020, 0.33908),
        (6504, 0.31346, 0.32357),
    ],
)
def test_planck_locus_has_its_tabled_chromaticities(kelvin: float, x: float, y: float) -> None:
    np.testing.assert_allclose(planck_xy(kelvin), [x, y], atol=1.5e-5)


@pytest.mark.parametrize("kelvin", [1667, 2000, 3200, 5000, 10000, 25000])
def test_planck_locus_agrees_with_colour_science_at_one_nanometre(kelvin: float) -> None:
    matching = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    shape = colour.SpectralShape(360, 780, 1)
    spectrum = colour.sd_blackbody(kelvin, shape).values
    xyz = spectrum @ matching.copy().align(shape).values

    # The library's radiation constant differs in the fifth digit.
    np.testing.assert_allclose(planck_xy(kelvin), (xyz / xyz.sum())[:2], atol=1.5e-5)


@pytest.mark.parametrize(
    ("lamp", "filtered", "shift"),
    # Handbook pairs of colour-temperature filters: 85B, 85, 85C, 80A, 80B, 80C, 80D, 81, 81A,
    # 82, 82A, 82C. Shift in mired, 1e6/T2 - 1e6/T1, to the digits of the tables.
    [
        (5500, 3200, 131),
        (5500, 3400, 112),
        (5500, 3800, 81),
        (3200, 5500, -131),
        (3400, 5500, -112),
        (3800, 5500, -81),
        (4200, 5500, -56),
        (3300, 3200, 9),
        (3400, 3200, 18),
        (3100, 3200, -10),
        (3000, 3200, -21),
        (2800, 3200, -45),
    ],
)
def test_mired_shifts_of_handbook_filters(lamp: float, filtered: float, shift: float) -> None:
    assert round(shift_mired(lamp, filtered)) == shift


def test_daylight_to_tungsten_has_the_gains_of_the_two_lamps() -> None:
    # BT.709 linear, light of a black body at 5500 K to one at 3200 K: R x 1.6458, B x 0.4237
    # against G, and 0.6076 and 2.3602 the other way (computed apart from this project).
    space = "lin_rec709_scene"

    def lamp(kelvin: float) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
        x, y = planck_xy(kelvin)
        rgb = np.linalg.solve(xyz_from_rgb(space), np.array([x / y, 1, (1 - x - y) / y]))
        return np.asarray(rgb, dtype=np.float64)

    warm = tint_matrix(shift_mired(5500, 3200), lamp_kelvin=5500, space=space) @ lamp(5500)
    gains = warm / lamp(5500)
    np.testing.assert_allclose(gains / gains[1], [1.6458, 1, 0.4237], atol=2e-4)
    cool = tint_matrix(shift_mired(3200, 5500), lamp_kelvin=3200, space=space) @ lamp(3200)
    gains = cool / lamp(3200)
    np.testing.assert_allclose(gains / gains[1], [0.6076, 1, 2.3602], atol=5e-4)


def test_tint_is_colour_science_s_bradford_between_the_two_lamps() -> None:
    def white(kelvin: float) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
        return np.asarray(colour.xy_to_XYZ(planck_xy(kelvin)), dtype=np.float64)

    adapt = colour.adaptation.matrix_chromatic_adaptation_VonKries(
        white(3200), white(1e6 / (1e6 / 3200 - 40)), "Bradford"
    )
    to_xyz = colour.RGB_COLOURSPACES["ACEScg"].matrix_RGB_to_XYZ
    expected = np.linalg.inv(to_xyz) @ adapt @ to_xyz

    np.testing.assert_allclose(tint_matrix(-40, space="lin_ap1_scene"), expected, atol=1e-5)
