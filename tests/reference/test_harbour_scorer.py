"""The scorer against the harbour's own figures, and each mistake it has to catch.

Source of the expected figures: the description that comes with the harbour passes. With the true
numbers and cubic resampling the chain gives a mean ratio of 0.993 to 1.001, a median error of
20 x 20 pixel blocks of 0.16 to 0.45 %, a 95th percentile of 1.2 to 2.4 %; without drift
correction the block errors are 2 to 6 times larger.
"""

from pathlib import Path

import numpy as np
import pytest

from support.harbour import (
    HarbourShot,
    full_shot,
    read_pixels,
    require_full_harbour,
    shipped_harbour,
    true_drift,
)
from support.harbour_chain import RIGHT, Mistake, combine, leak_of, light_of
from support.harbour_motion import Drift, move_from_reference, move_to_reference
from support.harbour_score import Score, blocks_lit_by, pass_gains, score

FLASH_FRAME = 5
CASES = [("locked", 0), ("locked", 2), ("locked", 4), ("moving", 0), ("moving", 5), ("moving", 9)]


@pytest.fixture(scope="module")
def shot() -> HarbourShot:
    return shipped_harbour()


@pytest.mark.parametrize(("name", "frame"), CASES)
def test_true_numbers_give_the_published_figures_of_both_shots(name: str, frame: int) -> None:
    whole = full_shot(require_full_harbour(), name)
    truth, leak = whole.all_lights(frame), leak_of(whole, frame, reach=1)

    right = score(combine(whole, frame, leak), truth)
    drifted = score(combine(whole, frame, leak, Mistake(drift=False)), truth)

    assert 0.993 <= right.mean_ratio <= 1.001
    assert 0.0016 <= right.block_median <= 0.0045
    assert 0.012 <= right.block_p95 <= 0.024
    assert 2 <= drifted.block_p95 / right.block_p95 <= 6


@pytest.mark.parametrize("frame", [0, FLASH_FRAME])
def test_shipped_frames_give_the_published_figures(shot: HarbourShot, frame: int) -> None:
    right = score(combine(shot, frame, leak_of(shot, frame, reach=1)), shot.all_lights(frame))

    assert 0.993 <= right.mean_ratio <= 1.001
    assert 0.0016 <= right.block_median <= 0.0045
    assert 0.012 <= right.block_p95 <= 0.024


def test_averaging_the_black_pass_differently_moves_no_block_score_by_a_tenth(
    shot: HarbourShot,
) -> None:
    truth = shot.all_lights(0)

    one, three, all_frames = (
        score(combine(shot, 0, leak_of(shot, 0, reach)), truth) for reach in (0, 1, 9)
    )

    assert one.block_median == pytest.approx(three.block_median, rel=0.1)
    assert all_frames.block_median == pytest.approx(three.block_median, rel=0.1)
    assert all_frames.block_p95 == pytest.approx(three.block_p95, rel=0.1)


def test_room_light_left_in_doubles_the_block_median(shot: HarbourShot) -> None:
    leak, truth = leak_of(shot, FLASH_FRAME, reach=1), shot.all_lights(FLASH_FRAME)

    right = score(combine(shot, FLASH_FRAME, leak), truth)
    left_in = score(combine(shot, FLASH_FRAME, leak, Mistake(ambient=False)), truth)

    assert right.block_median < 0.006
    assert left_in.block_median > 0.010
    assert left_in.mean_ratio > right.mean_ratio + 0.008


def test_black_offset_left_in_is_seen_in_every_score(shot: HarbourShot) -> None:
    leak, truth = leak_of(shot, FLASH_FRAME, reach=1), shot.all_lights(FLASH_FRAME)

    left_in = score(combine(shot, FLASH_FRAME, leak, Mistake(black=False)), truth)

    assert left_in.mean_ratio > 1.03
    assert left_in.block_median > 0.03
    assert left_in.block_p95 > 0.10


@pytest.mark.parametrize("wrong", ["beauty", "practicals", "haze", "flash"])
def test_nine_hundredths_of_a_stop_on_one_pass_show_as_its_own_gain(
    shot: HarbourShot, wrong: str
) -> None:
    leak = leak_of(shot, FLASH_FRAME, reach=1)
    alone = {name: shot.alone(name) for name in shot.lamps(FLASH_FRAME)}

    right = pass_gains(combine(shot, FLASH_FRAME, leak, RIGHT), alone)
    mistaken = pass_gains(combine(shot, FLASH_FRAME, leak, Mistake(stops={wrong: 0.09})), alone)

    assert right == pytest.approx(dict.fromkeys(alone, 1.0), abs=0.006)
    assert mistaken == pytest.approx(right | {wrong: right[wrong] * 2**-0.09}, abs=0.004)


@pytest.mark.parametrize(("flicker", "gain"), [("relative", 0.9443), ("left", 0.9329)])
def test_a_flicker_known_only_in_part_shows_as_the_gain_of_the_practicals(
    flicker: str, gain: float
) -> None:
    locked = full_shot(require_full_harbour(), "locked")
    leak, alone = leak_of(locked, 0, reach=1), {n: locked.alone(n) for n in locked.lamps(0)}

    right = pass_gains(combine(locked, 0, leak), alone)
    wrong = pass_gains(combine(locked, 0, leak, Mistake(flicker=flicker)), alone)

    assert right["practicals"] == pytest.approx(1.0, abs=0.005)
    # truth.json: flicker 0.93292 at frame 0, median 0.944265 over the shot
    assert wrong["practicals"] == pytest.approx(gain, abs=0.005)


def test_flicker_left_in_unsettles_the_blocks_that_the_practicals_light(shot: HarbourShot) -> None:
    where = blocks_lit_by(shot.alone("practicals"), shot.all_lights(0), share=0.5)
    ratios: dict[str, list[float]] = {"true": [], "left": []}
    for frame in (0, 1, 3, 4):
        leak, truth = leak_of(shot, frame, reach=1), shot.all_lights(frame)
        others = [light_of(shot, name, frame, leak) for name in ("beauty", "haze")]
        for flicker, found in ratios.items():
            lamp = light_of(shot, "practicals", frame, leak, Mistake(flicker=flicker))
            ours = np.sum([*others, lamp], axis=0)
            found.append(score(ours, truth, where=where).mean_ratio)

    assert np.ptp(ratios["true"]) < 0.008
    assert np.ptp(ratios["left"]) > 0.020


def test_score_of_the_truth_itself_is_perfect_and_of_a_brighter_one_its_gain() -> None:
    truth = np.random.default_rng(1).uniform(0.1, 1.0, (100, 140, 3)).astype(np.float32)

    same, brighter = score(truth, truth), score(truth * np.float32(1.25), truth)

    assert same == Score(mean_ratio=1.0, block_median=0.0, block_p95=0.0, rms_log2=0.0)
    assert brighter.mean_ratio == pytest.approx(1.25)
    assert brighter.block_median == pytest.approx(0.25, abs=1e-5)
    assert brighter.rms_log2 == pytest.approx(np.log2(1.25), abs=1e-5)


def test_blocks_with_a_clipped_lamp_are_left_out_and_nothing_left_is_an_error() -> None:
    truth = np.full((80, 80, 3), 0.5, np.float32)
    truth[30, 30] = 5.0
    ours = truth.copy()
    ours[30, 30] = 1.0

    assert score(ours, truth).block_p95 == 0.0
    with pytest.raises(ValueError, match=r"all are above 0\.4"):
        score(ours, truth, ceiling=0.4)


@pytest.mark.parametrize(("name", "off_px"), [("practicals", 0.001), ("matte", 0.001),
                                              ("beauty", 0.25), ("haze", 0.10)])  # fmt: skip
def test_true_drift_carries_the_sign_to_its_projected_corners(
    shot: HarbourShot, name: str, off_px: float
) -> None:
    """The corners were projected with each camera; parallax, which no fit removes, stays."""
    for frame in shot.frames:
        here = np.array(shot.frame_facts("reference", frame)["sign_corners"])
        there = np.array(shot.frame_facts(name, frame)["sign_corners"])

        mapped = true_drift(shot, name, frame).apply(here, 960, 540)

        np.testing.assert_allclose(mapped, there, atol=off_px)


@pytest.mark.parametrize(("order", "error"), [(3, 2e-4), (5, 2e-6)])
def test_a_known_pattern_is_moved_to_where_the_convention_says(order: int, error: float) -> None:
    """Checked against the pattern's own formula, evaluated at the mapped points."""
    drift = Drift(0.73, -0.41, rotation_deg=0.8, scale=1.004)
    y, x = np.mgrid[0:90, 0:160] + 0.5

    def pattern(points: np.ndarray) -> np.ndarray:
        px, py = points[..., 0], points[..., 1]
        return (np.sin(px / 5) + np.cos(py / 4)).astype(np.float32)

    here = np.stack([x, y], axis=-1)
    inner = (slice(20, -20), slice(20, -20))

    seen_by_reference = move_to_reference(pattern(here), drift, order)
    seen_by_pass = move_from_reference(pattern(drift.apply(here, 160, 90)), drift, order)

    expected = pattern(drift.apply(here, 160, 90))
    np.testing.assert_allclose(seen_by_reference[inner], expected[inner], atol=error)
    np.testing.assert_allclose(seen_by_pass[inner], pattern(here)[inner], atol=error)


def test_shipped_passes_hold_the_same_codes_as_the_full_set(shot: HarbourShot) -> None:
    whole = full_shot(require_full_harbour(), "moving")
    for name in ("beauty", "practicals", "flash", "haze", "matte", "black"):
        for facts in shot.pass_facts(name)["frames"]:
            ours, theirs = (each.file(name, facts["shot_frame"]) for each in (shot, whole))

            assert ours.name == theirs.name
            np.testing.assert_array_equal(read_pixels(ours), read_pixels(theirs))
    assert (whole.passes / "reference.mp4").read_bytes() == (
        shot.passes / "reference.mp4"
    ).read_bytes()


@pytest.mark.parametrize(
    ("ci", "outcome"), [("true", pytest.fail.Exception), ("", pytest.skip.Exception)]
)
def test_absent_full_set_skips_on_a_laptop_and_fails_in_continuous_integration(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, ci: str, outcome: type[BaseException]
) -> None:
    monkeypatch.setenv("GLIMSUM_SHARED", str(tmp_path))
    monkeypatch.setenv("CI", ci)

    with pytest.raises(outcome, match=r"the full harbour set is absent: let GLIMSUM_SHARED name"):
        require_full_harbour()


def test_demo_passes_stay_below_fifteen_mebibytes_and_with_their_truth_below_twenty_five(
    shot: HarbourShot,
) -> None:
    demo, truth = (
        sum(path.stat().st_size for path in folder.rglob("*") if path.is_file())
        for folder in (shot.passes, shot.truth)
    )

    assert demo <= 15 * 2**20
    assert demo + truth <= 25 * 2**20
