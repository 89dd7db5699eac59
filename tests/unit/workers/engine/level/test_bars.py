"""Roll bars of lamps on mains, by the arithmetic of pulses and shutters."""

import numpy as np
import pytest

from glimsum_workers.engine.level.bars import RollBars, find_roll_bars
from glimsum_workers.engine.level.compare import compare_frames
from glimsum_workers.engine.level.sample import level_sample
from unit.workers.engine.level.made_light import lit

ROWS = 270
READ_OUT_S = 0.025
"""From the first row to the last."""


def row_gains(starts_s: np.ndarray, pulse_hz: float, exposure_s: float, depth: float) -> list:  # type: ignore[type-arg]  # arrays of rows
    """Return the exposure of each row of each frame under a lamp that pulses as a sine."""
    begun = starts_s[:, None] + READ_OUT_S * (np.arange(ROWS) + 0.5) / ROWS
    turn = 2 * np.pi * pulse_hz

    def area(at: np.ndarray) -> np.ndarray:
        return at - depth / turn * np.cos(turn * at)

    return [each[:, None, None] for each in (area(begun + exposure_s) - area(begun)) / exposure_s]


def found(
    starts_s: np.ndarray, exposure_s: float, depth: float = 1.0, shift_px: float = 0.0
) -> RollBars | None:
    pictures = lit(row_gains(starts_s, 100.0, exposure_s, depth), shift_px)
    return find_roll_bars(
        compare_frames([level_sample(each) for each in pictures], moving=shift_px != 0)
    )


@pytest.mark.parametrize("shift_px", [0.0, 1.5])
def test_mains_of_50_hz_at_a_48th_of_a_second(shift_px: float) -> None:
    # Light pulses at 100 Hz; an exposure of T leaves depth * sin(2 pi M T) / (2 pi M T): 3.95 %
    # at 1/48 s (photometry of pulsed light). 100 Hz over a read-out of 25 ms: 2.5 bars. At 24
    # frames a second the phase goes on by 100 / 24 = 4 + 1/6 periods, bars move up by 1/6.
    told = found(np.arange(10) / 24, 1 / 48, shift_px=shift_px)

    assert told is not None
    assert told.amplitude == pytest.approx(0.0395, rel=0.1)
    assert told.bars == pytest.approx(2.5, abs=0.11)
    assert told.travel == pytest.approx(-1 / 6, abs=0.01)


def test_frames_shot_one_by_one_have_bars_that_jump() -> None:
    starts = np.random.default_rng(4).random(12)

    told = found(starts, 1 / 48)

    assert told is not None
    assert told.amplitude == pytest.approx(0.0395, rel=0.1)
    assert told.travel is None


@pytest.mark.parametrize("exposure_s", [1 / 50, 2.0])
def test_an_exposure_of_whole_pulses_has_none(exposure_s: float) -> None:
    # 172.8 degrees at 24 frames a second is 1/50 s: two pulses (common practice).
    assert found(np.arange(10) / 24, exposure_s) is None


def test_faint_bars_are_still_found() -> None:
    told = found(np.arange(12) / 24, 1 / 48, depth=0.15)

    assert told is not None
    assert told.amplitude == pytest.approx(0.15 * 0.0395, rel=0.15)


def test_flicker_alone_makes_no_bars() -> None:
    gains = [np.full((1, 1, 1), gain) for gain in (1.0, 1.05, 0.96, 1.02, 0.98, 1.01, 1.04, 0.95)]
    pictures = lit(gains, 1.5)

    assert find_roll_bars(compare_frames([level_sample(each) for each in pictures])) is None
