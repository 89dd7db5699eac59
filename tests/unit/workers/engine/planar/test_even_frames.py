"""Frames drawn towards their neighbours: errors of measurement go, jitter and knocks stay."""

import numpy as np
import pytest
from numpy.typing import NDArray

from glimsum_workers.engine.planar.even_frames import even_frames
from glimsum_workers.engine.planar.fit import Fit
from glimsum_workers.engine.planar.homography import (
    Matrix,
    carry,
    from_unit,
    step_matrix,
    unit_frame,
)
from support.flat_patches import BOARD, moves

Floats = NDArray[np.float64]
COUNT = 40
ERROR_PX = 0.08
TO_UNIT = unit_frame(BOARD)
REACH_PX = 1 / TO_UNIT[0, 0]


def smooth() -> dict[int, Matrix]:
    """Return the camera's own way: a slide with growth and tilt, even from frame to frame."""
    made = {}
    for frame in range(COUNT):
        numbers = np.array([1.9, -0.7, 0.08, 0.05, 0.02, 0.01, 0.01, 0.02]) * frame
        numbers += np.array([0.01, 0.006, 0, 0, 0, 0, 0, 0]) * frame**2
        made[frame] = from_unit(step_matrix(numbers / REACH_PX), TO_UNIT)
    return made


def shifted(truth: dict[int, Matrix], shifts: Floats) -> dict[int, Matrix]:
    """Return a way on which each frame is moved by x, y pixels."""
    made = {}
    for frame, (x, y) in enumerate(shifts):
        move = np.eye(3)
        move[:2, 2] = x, y
        made[frame] = move @ truth[frame]
    return made


def measured(truth: dict[int, Matrix], seed: int = 1) -> dict[int, Fit]:
    """Return fits with errors of a known size in every number."""
    rng = np.random.default_rng(seed)
    fits = {}
    for frame, matrix in truth.items():
        wrong = from_unit(step_matrix(rng.normal(0, ERROR_PX, 8) / REACH_PX), TO_UNIT)
        fits[frame] = Fit(
            matrix @ wrong, ERROR_PX, 1.0, 1.0, np.zeros(0, np.float32), 1.0,
            np.eye(8) * ERROR_PX**2,
        )  # fmt: skip
    return fits


def rms(fits: dict[int, Fit], truth: dict[int, Matrix]) -> float:
    left = [carry(fits[f].matrix, BOARD) - carry(truth[f], BOARD) for f in truth]
    return float(np.sqrt(np.mean(np.square(left))))


def test_on_an_even_move_errors_fall_to_the_parabola_s_share() -> None:
    truth, fits = smooth(), measured(smooth())

    evened = even_frames(fits, BOARD, 8)

    # A parabola through nine even values leaves 0.505 of an error in the middle (59 / 231 of its
    # variance, Savitzky & Golay 1964); more at the ends.
    assert rms(evened, truth) < 0.68 * rms(fits, truth)
    assert evened[20].sigma_px < 0.8 * fits[20].sigma_px


@pytest.mark.parametrize("jitter_px", [0.3, 1.0, 4.0])
def test_jitter_that_can_be_measured_stays(jitter_px: float) -> None:
    shifts = np.random.default_rng(4).normal(0, jitter_px, (COUNT, 2))
    truth = shifted(smooth(), shifts)
    fits = measured(truth)

    evened = even_frames(fits, BOARD, 8)

    assert rms(evened, truth) < 1.02 * rms(fits, truth)


def test_a_knock_stays_where_it_was_and_as_sharp() -> None:
    shifts = np.zeros((COUNT, 2))
    shifts[17:] = 5.0, -3.0
    truth = shifted(smooth(), shifts)
    fits = measured(truth)

    evened = even_frames(fits, BOARD, 8)

    about = {frame: truth[frame] for frame in range(14, 21)}
    assert rms(evened, truth) < rms(fits, truth)
    assert rms(evened, about) < 1.5 * rms(fits, about)


def test_few_frames_are_left_alone() -> None:
    fits = measured(moves(5))

    assert even_frames(fits, BOARD, 8) == fits


def test_a_simpler_model_stays_one() -> None:
    shifts: Floats = np.linspace(0, 1, COUNT)[:, np.newaxis] * np.array([50.0, 16.0])
    still = {frame: np.eye(3) for frame in range(COUNT)}
    rng = np.random.default_rng(2)
    noisy = shifted(still, shifts + rng.normal(0, ERROR_PX, (COUNT, 2)))
    fits = {
        frame: Fit(m, ERROR_PX, 1.0, 1.0, np.zeros(0, np.float32), 1.0, np.eye(2) * ERROR_PX**2)
        for frame, m in noisy.items()
    }

    evened = even_frames(fits, BOARD, 2)

    assert all(np.allclose(fit.matrix[:2, :2], np.eye(2)) for fit in evened.values())
    truth = shifted(still, shifts)
    assert rms(evened, truth) < 0.75 * rms(fits, truth)
