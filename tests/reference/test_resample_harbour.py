"""The resample on the harbour: the sum of its lamps against the photograph with all of them.

Truth: `tests/data/harbour` (computed scene, true drift of every frame). The measure is the
scorer's; SciPy's quintic spline (`support.harbour_motion`) is what it is held against.
"""

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from glimsum_workers.engine.codes import Picture
from glimsum_workers.engine.motion import Motion
from glimsum_workers.engine.resample.resample import resample
from support.harbour import (
    HarbourShot,
    full_shot,
    require_full_harbour,
    shipped_harbour,
    true_drift,
)
from support.harbour_chain import Mistake, leak_of, light_of
from support.harbour_motion import Drift, move_to_reference
from support.harbour_score import Score, score

Pixels = NDArray[np.float32]
UNMOVED = Mistake(drift=False, ambient=False)


def pulled(light: Pixels, drift: Drift) -> Pixels:
    motion = Motion(drift.dx, drift.dy, drift.rotation_deg, drift.scale)
    return resample(Picture(light), motion).picture.rgb


def sum_score(shot: HarbourShot, frame: int, move: Callable[[Pixels, Drift], Pixels]) -> Score:
    leak = leak_of(shot, frame, reach=1)
    nothing = np.zeros_like(leak)
    total = np.zeros_like(leak)
    for name in shot.lamps(frame):
        light = light_of(shot, name, frame, nothing, UNMOVED)
        total += move(light, true_drift(shot, name, frame)) - leak
    return score(total, shot.all_lights(frame))


def assert_as_good_as_quintic(shot: HarbourShot, frame: int) -> None:
    found, spline = sum_score(shot, frame, pulled), sum_score(shot, frame, move_to_reference)
    still = sum_score(shot, frame, lambda light, _: light)

    assert found.block_p95 <= 1.05 * spline.block_p95
    assert found.block_median <= 1.05 * spline.block_median
    assert found.mean_ratio == pytest.approx(spline.mean_ratio, abs=5e-4)
    assert still.block_p95 > 1.8 * found.block_p95


@pytest.mark.parametrize("frame", [0, 5])
def test_all_lamps_by_true_drift_score_as_a_quintic_spline_does(frame: int) -> None:
    assert_as_good_as_quintic(shipped_harbour(), frame)


@pytest.mark.parametrize("frame", [0, 2])
def test_locked_shot_scores_as_a_quintic_spline_does(frame: int) -> None:
    assert_as_good_as_quintic(full_shot(require_full_harbour(), "locked"), frame)


def test_burning_bulbs_of_the_practicals_draw_no_dark_rings() -> None:
    shot = shipped_harbour()
    drift = true_drift(shot, "practicals", 0)
    light = light_of(shot, "practicals", 0, np.zeros((540, 960, 3), np.float32), UNMOVED)

    ours, spline = pulled(light, drift), move_to_reference(light, drift)

    assert ours.min() >= light.min() > -0.02
    assert spline.min() < -0.3
    inner = slice(20, -20)
    assert ours[inner, inner].sum() / spline[inner, inner].sum() == pytest.approx(1, abs=3e-3)
