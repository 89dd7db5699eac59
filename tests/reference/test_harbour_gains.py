"""Gains, a tint and a matte through job, workers and masters, against ray-traced truth.

The truth of each lamp is moved into the frame its pass was filmed in (the masters hold the passes
as they are), weighed here by 2^stops (APEX: one stop is a factor of 2), by a matte drawn here,
and by a tint worked out apart from the project (its sources stand in `support.lamp_tint`).
"""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from support.harbour import HarbourShot, true_drift
from support.harbour_jobs import harbour_job, harbour_roots, job_frame
from support.harbour_motion import move_from_reference
from support.harbour_proofs import SPLINE, find_shot, lit_frame
from support.harbour_score import Score, blocks_lit_by, score
from support.lamp_tint import tint_by_hand
from support.run_here import read_exr, run_here

LAMP_K, TINT_MIRED = 3200.0, -60.0
BULBS_MEDIAN = 0.01
STOPS = {"beauty": 0.0, "practicals": -1.3, "haze": 0.7, "flash": 0.0}


def soft_matte() -> NDArray[np.uint8]:
    """A ramp from 0 at the left to 255 at the right, darkened towards the bottom."""
    y, x = np.mgrid[0:540, 0:960]
    weight: NDArray[np.float64] = (x / 959) * (1 - 0.5 * y / 539)
    return np.rint(255 * weight).astype(np.uint8)


def expected_lights(shot: HarbourShot, frame: int) -> dict[str, NDArray[np.float32]]:
    """2^s * tint * matte * lamp of each lamp, as its drifted camera sees it."""
    weight = (soft_matte() / 255).astype(np.float32)[..., np.newaxis]
    tint = tint_by_hand(TINT_MIRED, LAMP_K).T
    lights: dict[str, NDArray[np.float32]] = {}
    for name in shot.lamps(frame):
        light = move_from_reference(shot.alone(name), true_drift(shot, name, frame), SPLINE)
        if name == "practicals":
            light = (weight * (light @ tint)).astype(np.float32)
        lights[name] = np.float32(2.0 ** STOPS[name]) * light
    return lights


def gained_recipe(**practicals: Any) -> list[dict[str, Any]]:
    step = {
        "pass": "practicals",
        "stops": STOPS["practicals"],
        "tint_mired": TINT_MIRED,
        "lamp_kelvin": LAMP_K,
        "matte": "ramp",
    }
    others = [{"pass": name, "stops": STOPS[name]} for name in ("beauty", "haze", "flash")]
    return [others[0], {**step, **practicals}, *others[1:]]


def score_gained(which: str, folder: Path, **practicals: Any) -> tuple[Score, Score]:
    """Run the job with gains and score the lit frame as it lies on the disk.

    Everywhere, and where the bulbs give a fifth of the light.
    """
    shot, frame = find_shot(which), lit_frame(find_shot(which))
    Image.fromarray(soft_matte()).save(folder / "ramp.png")
    job = harbour_job(
        shot,
        mattes={"ramp": {"files": "mattes:ramp.png"}},
        recipe=gained_recipe(**practicals),
        viewing={"movie": "none", "width": 64},
    )
    roots = harbour_roots(shot, folder / "out") | {"mattes": folder}
    (folder / "out").mkdir()
    number = job_frame(job, frame)
    stored = read_exr(run_here(job, roots, only={number}).master(number))
    lights = expected_lights(shot, frame)
    truth = np.sum(list(lights.values()), axis=0)
    bulbs = blocks_lit_by(lights["practicals"], truth, 0.2)
    return score(stored, truth), score(stored, truth, where=bulbs)


@pytest.mark.parametrize("which", ["shipped", "moving", "locked"])
def test_gains_tint_and_matte_come_out_as_the_truth_weighed_by_them(
    which: str, tmp_path: Path
) -> None:
    told, bulbs = score_gained(which, tmp_path)

    print(f"{which:8} gained  {told} {bulbs}")  # noqa: T201  # the row for people, shown with -s
    assert told.mean_ratio == pytest.approx(1.0, abs=0.004)
    assert told.block_median <= 0.006
    assert told.block_p95 <= 0.026
    assert bulbs.block_median <= BULBS_MEDIAN


@pytest.mark.parametrize(
    "wrong", [{"tint_mired": 0.0}, {"matte": None}, {"stops": -1.0}], ids=["tint", "matte", "stops"]
)
def test_each_of_them_left_out_is_seen(wrong: dict[str, Any], tmp_path: Path) -> None:
    _, bulbs = score_gained("shipped", tmp_path, **wrong)

    print(wrong, bulbs)  # noqa: T201  # the same
    assert bulbs.block_median > 2 * BULBS_MEDIAN
