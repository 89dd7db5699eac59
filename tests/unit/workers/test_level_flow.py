"""The level of a pass from its files into the frame, and what is told of it."""

from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from glimsum_jobs.errors import JobError
from glimsum_jobs.ledger import Stage
from glimsum_jobs.problems import Problem
from support.run_here import HereRun, open_run, run_here, work_through
from support.small_shots import exr_pass, small_roots, small_shot, write_exr_pass

FIRST, COUNT = 1001, 14
SIZE = (90, 160)
FADE = np.clip((np.arange(COUNT) - 4) / 6, 0, 1) * -0.5 + 1
"""One stop down over six frames, linear in light."""
FLICKER = 1 + 0.02 * np.random.default_rng(8).standard_normal(COUNT)


@cache
def scene() -> NDArray[np.float32]:
    y, x = np.mgrid[0 : SIZE[0], 0 : SIZE[1]]
    light = 0.2 + 0.1 * np.sin(x / 9) * np.cos(y / 7)
    return np.stack([light, 0.8 * light, 0.6 * light], axis=-1).astype(np.float32)


def solved(folder: Path, gains: NDArray[np.float64], level: Any) -> HereRun:
    """Write a pass with gains (frames,) or (frames, 3), and work up to the first frame."""
    each = np.broadcast_to(gains.reshape(COUNT, -1), (COUNT, 3))
    pictures = {FIRST + i: scene() * each[i] for i in range(COUNT)}
    write_exr_pass(folder, "lamps", pictures)
    job = small_shot(
        frames={"first": FIRST, "last": FIRST + COUNT - 1},
        passes={"lamps": exr_pass("lamps", level=level)},
    )
    return work_through(open_run(job, small_roots(folder)), until=Stage.COMBINE)


def light_of(run: HereRun) -> NDArray[np.float64]:
    """Return the mean light of every frame of the pass as it is combined, (frames, 3)."""
    bench = run.bench()
    try:
        told = [
            bench.light.in_working_space("lamps", FIRST + i, run.solved).picture.rgb.mean((0, 1))
            for i in range(COUNT)
        ]
    finally:
        bench.close()
    light: NDArray[np.float64] = np.array(told) / scene().mean((0, 1)).astype(np.float64)
    return light


def told(run: HereRun, words: str) -> Problem:
    (found,) = [each for each in run.solved.problems if words in each.what]
    return found


def test_a_fade_stays_and_is_told(tmp_path: Path) -> None:
    run = solved(tmp_path, FADE, "steady")

    light = light_of(run)[:, 1]
    # Kept within 0.5 %.
    np.testing.assert_allclose(light / light[0], FADE / FADE[0], rtol=0.005)
    assert "kept as a fade" in told(run, "changes slowly").what
    assert "-50.0 % (-1.00 stops) from frame 1005 to 1011" in told(run, "changes slowly").seen


def test_a_stated_fade_stays_and_its_flicker_goes(tmp_path: Path) -> None:
    keys = [{"frame": 1005, "value": 0}, {"frame": 1011, "value": -1}]

    run = solved(tmp_path, FADE * FLICKER, {"steady": 1001, "stops": keys})

    light = light_of(run)[:, 1]
    np.testing.assert_allclose(light / light[0], FADE, rtol=0.001)


def test_held_to_one_frame_everything_goes(tmp_path: Path) -> None:
    run = solved(tmp_path, FADE * FLICKER, {"steady": 1003})

    light = light_of(run)[:, 1]
    np.testing.assert_allclose(light, FADE[2] * FLICKER[2], rtol=0.001)


def test_warming_up_goes_and_is_told(tmp_path: Path) -> None:
    warm = 1 + 0.06 * (1 - np.exp(-np.arange(COUNT) / 5))

    run = solved(tmp_path, warm, "steady")

    light = light_of(run)[:, 1]
    np.testing.assert_allclose(light / light[0], 1, rtol=0.001)
    assert "is taken out" in told(run, "changes slowly").what
    assert " %" in told(run, "changes slowly").seen


@pytest.mark.parametrize("colour", [False, True])
def test_white_balance_that_drifts_is_told_and_taken_out_where_asked(
    tmp_path: Path, colour: bool
) -> None:
    ramp = np.linspace(0, 1, COUNT)
    channels = np.stack([1 + 0.05 * ramp, np.ones(COUNT), 1 - 0.03 * ramp], axis=1)
    gains = channels * FLICKER[:, None]

    run = solved(tmp_path, gains, {"steady": 1001, "colour": colour})

    light = light_of(run) / FLICKER[0]
    red, blue = light[:, 0] / light[:, 1], light[:, 2] / light[:, 1]
    if colour:
        np.testing.assert_allclose(light, 1, rtol=0.001)
    else:
        np.testing.assert_allclose(red, channels[:, 0], rtol=0.001)
        np.testing.assert_allclose(blue, channels[:, 2], rtol=0.001)
    seen = told(run, "red against green")
    assert "5.0 % between frames 1001 (least red) and 1014 (most)" in seen.seen
    assert ("taken out" in seen.what) == colour


def test_frames_are_held_to_a_lamp_that_burns() -> None:
    level = {"steady": 1001, "stops": [{"frame": 1001, "value": "out"}]}

    with pytest.raises(JobError) as refused:
        small_shot(passes={"lamps": exr_pass("lamps", level=level)})
    assert "seen: steady: 1001, where stops say out" in str(refused.value.problems[0])


def test_a_lamp_that_died_is_told_with_frames_and_how_dark(tmp_path: Path) -> None:
    gains = np.ones(COUNT)
    gains[9:] = 0.02
    write_exr_pass(
        tmp_path, "lamps", {FIRST + i: scene() * np.float32(gains[i]) for i in range(COUNT)}
    )
    frames = {"first": FIRST, "last": FIRST + COUNT - 1}
    lamps = {"lamps": exr_pass("lamps")}
    roots = small_roots(tmp_path)

    died = run_here(small_shot(frames=frames, passes=lamps), roots)
    keys = [{"frame": 1009, "value": 0}, {"frame": 1010, "value": "out"}]
    out = [{"pass": "lamps", "stops": keys}]
    meant = run_here(small_shot(frames=frames, passes=lamps, recipe=out), roots, version=2)

    (found,) = [each for each in died.finished.remarks if "went out in mid-pass" in each.what]
    assert found.seen == "frames 1010 to 1014: 2.0 % of the light before (-5.6 stops)"
    assert (found.place.pass_name, found.place.frame) == ("lamps", 1010)
    assert not [each for each in meant.finished.remarks if "went out" in each.what]
