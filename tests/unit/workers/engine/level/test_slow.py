"""Slow changes told from flicker."""

import numpy as np
import pytest

from glimsum_workers.engine.level.slow import find_slow_change


def series(
    count: int, *ramps: tuple[int, int, float], flicker: float = 0.0, light: bool = False
) -> np.ndarray:
    """Return ln of light with ramps (first, last, stops), linear in stops or in light."""
    logs = flicker * np.random.default_rng(count).standard_normal(count)
    for first, last, stops in ramps:
        part = np.clip((np.arange(count) - first) / (last - first), 0, 1)
        logs += np.log(1 + part * (2.0**stops - 1)) if light else part * stops * np.log(2)
    return logs


def find(logs: np.ndarray, sigma: float = 1e-3):  # type: ignore[no-untyped-def]  # the test's own
    return find_slow_change(np.arange(len(logs)), logs, np.full(len(logs), sigma))


@pytest.mark.parametrize("flicker", [0.0, 0.005, 0.03])
@pytest.mark.parametrize("count", [6, 12, 48])
def test_flicker_alone_is_no_slow_change(flicker: float, count: int) -> None:
    assert find(series(count, flicker=flicker)) is None


@pytest.mark.parametrize("light", [False, True])
@pytest.mark.parametrize("stops", [-1.0, 1.0])
def test_a_fade_is_found_with_its_frames_its_size_and_its_shape(stops: float, light: bool) -> None:
    told = find(series(36, (14, 20, stops), light=light, flicker=0.001))

    assert told is not None
    (ramp,) = told.ramps
    assert (ramp.first, ramp.last) == (14, 20)
    assert ramp.shape == ("light" if light else "stops")
    assert ramp.stops == pytest.approx(stops, abs=0.005)
    error = told.at(np.arange(36)) - series(36, (14, 20, stops), light=light)
    # Kept within 0.5 %.
    assert np.abs(error - np.median(error)).max() <= 0.005


def test_a_fade_under_flicker_is_kept_to_what_means_of_it_tell() -> None:
    told = find(series(48, (20, 26, -1.0), flicker=0.02))

    assert told is not None
    error = told.at(np.arange(48)) - series(48, (20, 26, -1.0))
    # A mean of 20 values of 2 %: 0.45 % on either plateau (variance of means).
    assert abs(error[-1] - error[0]) <= 3 * 0.02 * np.sqrt(2 / 20)


def test_down_and_up_again_are_two_ramps() -> None:
    told = find(series(60, (10, 16, -1.0), (40, 44, 1.0), flicker=0.003))

    assert told is not None
    assert (told.ramps[0].first, told.ramps[0].last) == (10, 16)
    assert all(40 <= ramp.first < ramp.last <= 44 for ramp in told.ramps[1:])
    error = told.at(np.arange(60)) - series(60, (10, 16, -1.0), (40, 44, 1.0))
    assert np.abs(error - np.median(error)).max() <= 0.005
    assert told.range_stops == pytest.approx(1.0, abs=0.02)


def test_warming_up_is_found_where_it_exceeds_the_flicker() -> None:
    warm = 0.05 * (1 - np.exp(-np.arange(48) / 15))

    told = find(warm + 0.001 * np.random.default_rng(1).standard_normal(48))

    assert told is not None
    assert told.range_stops == pytest.approx(np.log2(np.exp(warm[-1])), rel=0.1)
    error = told.at(np.arange(48)) - warm
    assert (error - error.mean()).std() <= 0.003


def test_a_flash_of_one_frame_is_no_slow_change() -> None:
    logs = series(24, flicker=0.002)
    logs[11] += 1.2

    assert find(logs) is None
