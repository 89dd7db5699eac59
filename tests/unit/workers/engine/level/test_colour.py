"""Colour ramps put in are ramps found."""

import numpy as np
import pytest

from glimsum_workers.engine.level.colour import Colours, solve_colours
from glimsum_workers.engine.level.compare import compare_frames
from glimsum_workers.engine.level.sample import cell_of, level_sample
from glimsum_workers.engine.metrics import block_means
from unit.workers.engine.level.made_light import lit

FRAMES = 8
FLICKER = np.array([1.0, 1.04, 0.97, 1.02, 0.99, 1.05, 0.96, 1.0])


def found(channels: np.ndarray, shift_px: float, anchor: int | None = None) -> Colours:
    pictures = lit([FLICKER[i] * channels[i] for i in range(FRAMES)], shift_px)
    compared = compare_frames([level_sample(each) for each in pictures], moving=shift_px != 0)
    cells = [block_means(each, cell_of(each.shape[1])) for each in pictures]
    return solve_colours(compared, cells, anchor=anchor)


@pytest.mark.parametrize("shift_px", [0.0, 2.5])
def test_white_balance_that_drifts_is_found_under_flicker(shift_px: float) -> None:
    ramp = np.linspace(0, 1, FRAMES)
    channels = np.stack([1 + 0.06 * ramp, np.ones(FRAMES), 1 - 0.04 * ramp], axis=1)

    told = found(channels, shift_px, anchor=0)

    np.testing.assert_allclose(told.red, channels[:, 0], atol=0.002)
    np.testing.assert_allclose(told.blue, channels[:, 2], atol=0.002)
    assert told.sigma.max() < 0.005


def test_flicker_changes_no_colour() -> None:
    told = found(np.ones((FRAMES, 3)), 2.5)

    np.testing.assert_allclose(told.red, 1, atol=0.001)
    np.testing.assert_allclose(told.blue, 1, atol=0.001)


def test_dark_frames_have_no_colour() -> None:
    channels = np.ones((FRAMES, 3))
    channels[3] = 0

    told = found(channels, 0.0)

    assert np.isinf(told.sigma[3])
    assert (told.red[3], told.blue[3]) == (1.0, 1.0)
