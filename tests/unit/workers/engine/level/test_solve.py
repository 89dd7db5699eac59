"""Levels on made-up light: gains given are gains found."""

import numpy as np
import pytest

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.codes import Image
from glimsum_workers.engine.hot_pixels import clip_mask
from glimsum_workers.engine.level.sample import LevelSample, level_sample
from glimsum_workers.engine.level.solve import solve_levels

GAINS = np.array([1.0, 1.05, 0.93, 1.02, 0.98, 1.1, 1.0])


def scene(shift: float = 0.0) -> Image:
    y, x = np.mgrid[0:270, 0:480].astype(np.float64)
    light = 0.2 + 0.1 * np.sin((x - shift) / 17) * np.cos(y / 23) + 0.05 * np.sin((x - shift) / 5)
    return np.repeat(light[..., None], 3, axis=2).astype(np.float32)


def samples(shift_px: float, gains: np.ndarray = GAINS, noise: float = 0.002) -> list[LevelSample]:
    random = np.random.default_rng(3)
    pictures = []
    for place, gain in enumerate(gains):
        light = scene(shift_px * place) * gain
        light = light + noise * random.standard_normal(light.shape)
        pictures.append(level_sample(light.astype(np.float32)))
    return pictures


@pytest.mark.parametrize(("moving", "shift_px"), [(False, 0.0), (True, 0.0), (True, 2.5)])
def test_gains_put_in_come_out(moving: bool, shift_px: float) -> None:
    levels = solve_levels(samples(shift_px), moving=moving)

    assert levels.trusted.all()
    np.testing.assert_allclose(levels.gains, GAINS / np.median(GAINS), rtol=0.003)


def test_anchor_frame_has_gain_one() -> None:
    levels = solve_levels(samples(0.0), moving=False, anchor=2)

    assert levels.gains[2] == 1.0
    np.testing.assert_allclose(levels.gains, GAINS / GAINS[2], rtol=0.002)


def test_a_lamp_that_goes_out_in_part_of_the_picture_is_no_flicker() -> None:
    steady = samples(0.0, np.ones(7))
    spoilt = list(steady)
    for place in (3, 4):
        light = steady[place].light.copy()
        light[:, : light.shape[1] // 4] *= 0.4
        spoilt[place] = LevelSample(light, steady[place].valid, steady[place].cell_px)

    levels = solve_levels(spoilt, moving=False)

    np.testing.assert_allclose(levels.gains, 1.0, atol=0.003)


def test_dark_frames_have_gain_one_and_are_not_trusted() -> None:
    gains = np.array([0.0, 0.0, 1.0, 1.04, 0.0, 0.0, 0.0])

    levels = solve_levels(samples(0.0, gains), moving=False)

    assert levels.trusted.tolist() == [False, False, True, True, False, False, False]
    assert levels.gains[[0, 1, 4, 5, 6]].tolist() == [1.0] * 5
    assert levels.gains[3] / levels.gains[2] == pytest.approx(1.04, rel=0.002)
    assert np.isinf(levels.sigma[0])


def test_a_pass_without_any_light_has_no_level() -> None:
    levels = solve_levels(samples(0.0, np.zeros(5)), moving=True)

    assert not levels.trusted.any()
    assert levels.gains.tolist() == [1.0] * 5


def test_another_light_is_no_flicker() -> None:
    gains = np.array([1.0, 1.0, 3.0, 1.0, 1.0])

    levels = solve_levels(samples(0.0, gains), moving=False)

    assert levels.trusted.tolist() == [True, True, False, True, True]
    assert levels.gains[2] == 1.0


def test_ambient_that_does_not_flicker_is_taken_out_first() -> None:
    room = level_sample(np.full((270, 480, 3), 0.004, dtype=np.float32))
    with_room = [
        LevelSample(sample.light + room.light, sample.valid, sample.cell_px)
        for sample in samples(0.0)
    ]

    levels = solve_levels(with_room, room, moving=False)

    np.testing.assert_allclose(levels.gains, GAINS / np.median(GAINS), rtol=0.002)
    each = solve_levels(with_room, [room] * 7, moving=False)
    np.testing.assert_array_equal(each.gains, levels.gains)


def test_clipped_cells_do_not_hold_the_level_back() -> None:
    pictures = []
    for gain in GAINS:
        light = scene() * np.float32(gain)
        light[:160, :300] *= 20
        recorded = np.minimum(light, 1.0)
        pictures.append(level_sample(recorded, clipped=clip_mask(recorded, 1.0)))

    levels = solve_levels(pictures, moving=False)

    np.testing.assert_allclose(levels.gains, GAINS / np.median(GAINS), rtol=0.002)


def test_one_frame_is_its_own_level() -> None:
    levels = solve_levels(samples(0.0)[:1])

    assert (levels.gains.tolist(), levels.trusted.tolist()) == ([1.0], [False])


def test_sample_is_linear_in_the_picture() -> None:
    one, two = scene(), scene(9.0)

    both = level_sample(one + two).light

    np.testing.assert_allclose(both, level_sample(one).light + level_sample(two).light, rtol=1e-5)


def test_what_does_not_go_together_is_named() -> None:
    made = samples(0.0)
    small = level_sample(scene(), cell_px=8)

    with pytest.raises(LightError, match=r"seen: 160 x 90 cells of 3 px, 60 x 33 cells of 8 px"):
        solve_levels([*made, small])
    with pytest.raises(LightError, match=r"seen: 2 ambient samples; expected: 1 or 7"):
        solve_levels(made, made[:2])
    with pytest.raises(LightError, match=r"seen: index 1; expected: one of \[0, 2\]"):
        solve_levels(samples(0.0, np.array([1.0, 0.0, 1.0])), moving=False, anchor=1)
