"""Tints: identities, limits and messages."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from glimsum_jobs.errors import LightError, SourceError
from glimsum_workers.engine.planck import planck_xy
from glimsum_workers.engine.spaces import luminance_weights, xyz_from_rgb
from glimsum_workers.engine.tint import tint_matrix


def lamp_rgb(kelvin: float, space: str) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    x, y = planck_xy(kelvin)
    rgb = np.linalg.solve(xyz_from_rgb(space), np.array([x / y, 1.0, (1 - x - y) / y]))
    return np.asarray(rgb, dtype=np.float64)


def test_no_shift_changes_nothing() -> None:
    np.testing.assert_array_equal(tint_matrix(0, space="lin_ap1_scene"), np.eye(3))


@given(st.floats(-200, 200))
def test_lamp_goes_to_the_moved_lamp_with_its_luminance(mired: float) -> None:
    space = "lin_ap1_scene"
    moved = tint_matrix(mired, space=space) @ lamp_rgb(3200, space)

    np.testing.assert_allclose(
        moved, lamp_rgb(1e6 / (1e6 / 3200 + mired), space), rtol=1e-9, atol=1e-9
    )
    assert luminance_weights(space) @ moved == pytest.approx(1, abs=1e-9)


def test_shift_there_and_back_is_no_shift() -> None:
    there = tint_matrix(60, lamp_kelvin=3200, space="lin_rec2020_scene")
    back = tint_matrix(-60, lamp_kelvin=1e6 / (1e6 / 3200 + 60), space="lin_rec2020_scene")

    np.testing.assert_allclose(back @ there, np.eye(3), atol=1e-12)


def test_positive_is_warmer() -> None:
    red, _, blue = tint_matrix(40, space="lin_ap1_scene") @ np.ones(3)

    assert red > 1 > blue


@pytest.mark.parametrize(
    ("mired", "kelvin"), [(287.3, 3200), (-272.4, 3200), (0, 1667), (0, 25000)]
)
def test_whole_range_is_accepted(mired: float, kelvin: float) -> None:
    assert np.isfinite(tint_matrix(mired, lamp_kelvin=kelvin, space="lin_ap1_scene")).all()


@pytest.mark.parametrize(
    ("mired", "kelvin", "said"),
    [
        (288, 3200, r"3200 K \+288 mired = 600\.5 mired \(1665 K\); expected: 1667 to 25000 K"),
        (-320, 3200, r"3200 K -320 mired = -7\.5 mired; expected: .*-272 to \+287 mired"),
        (0, 1500, r"lamp of 1500 K.*expected: lamp_kelvin 1667 to 25000"),
        (math.nan, 3200, "nan mired"),
        (math.inf, 3200, r"\+inf mired"),
        (0, math.nan, "lamp of nan K"),
    ],
)
def test_tint_outside_its_range_is_refused(mired: float, kelvin: float, said: str) -> None:
    with pytest.raises(LightError, match=said):
        tint_matrix(mired, lamp_kelvin=kelvin, space="lin_ap1_scene")


def test_tint_in_a_space_without_primaries_is_refused() -> None:
    with pytest.raises(LightError, match="seen: ocio:lin_awg4_scene; expected: a working space"):
        tint_matrix(10, space="ocio:lin_awg4_scene")
    with pytest.raises(SourceError, match="seen: acescg"):
        tint_matrix(10, space="acescg")
