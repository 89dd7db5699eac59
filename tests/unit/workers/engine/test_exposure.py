"""Exposure and white balance as gains."""

import numpy as np
import pytest

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.exposure import equalise, exposure_gains


def test_a_pass_with_two_stops_more_light_is_quartered() -> None:
    assert exposure_gains(2.0).tolist() == [0.25, 0.25, 0.25]


def test_whole_stops_between_two_exposures_are_those_of_apex() -> None:
    # APEX (ISO 2720): 8 s f/11 ISO 400 is 5 stops over 2 s f/16 ISO 100, all nominal.
    stops = np.log2(8 / 2) + np.log2(400 / 100) + 2 * np.log2(16 / 2**3.5)

    np.testing.assert_allclose(exposure_gains(float(stops)), 1 / 32, rtol=1e-6)


def test_negative_noise_stays_and_channels_keep_to_themselves() -> None:
    rgb = np.array([[[-0.01, 0.5, 2.0], [4.0, -1.0, 0.0]]], dtype=np.float32)

    result = equalise(rgb, -1.0, (2.0, 1.0, 0.5), out=rgb)

    assert result is rgb
    np.testing.assert_allclose(result, [[[-0.04, 1.0, 2.0], [16.0, -2.0, 0.0]]], rtol=1e-6)


@pytest.mark.parametrize("stops", [float("nan"), float("inf"), 41.0])
def test_impossible_exposure_is_refused(stops: float) -> None:
    with pytest.raises(LightError, match=rf"seen: {stops} stops; expected: a finite number"):
        exposure_gains(stops)


@pytest.mark.parametrize("gains", [(1.0, 0.0, 1.0), (1.0, 1.0), (1.0, float("nan"), 1.0)])
def test_impossible_white_balance_is_refused(gains: tuple[float, ...]) -> None:
    with pytest.raises(LightError, match=r"white balance makes no light; seen: \[1.0"):
        exposure_gains(0.0, gains)
