"""Level, hot pixels and ambient against passes whose faults are known.

Source: the harbour set's truth (ray-traced; flicker, hot pixels and leak put in on purpose). The
pictures are decoded and equalised here by published formulas, not by the project.
"""

import numpy as np
import pytest

from glimsum_workers.engine.ambient import smooth_ambient
from glimsum_workers.engine.codes import Image
from glimsum_workers.engine.dark import Averager
from glimsum_workers.engine.hot_pixels import (
    clip_mask,
    find_hot_pixels,
    find_staying_pixels,
    mend_hot_pixels,
)
from glimsum_workers.engine.level.sample import LevelSample, level_sample
from glimsum_workers.engine.level.solve import Levels, solve_levels
from support.harbour import HarbourShot, full_shot, read_pixels, require_full_harbour
from support.harbour_chain import decode


@pytest.fixture(params=["locked", "moving"])
def shot(request: pytest.FixtureRequest) -> HarbourShot:
    return full_shot(require_full_harbour(), str(request.param))


def recorded(shot: HarbourShot, name: str, frame: int) -> Image:
    return decode(read_pixels(shot.file(name, frame))[..., :3], shot.space(name))


def equalised(shot: HarbourShot, name: str, frame: int) -> Image:
    light = recorded(shot, name, frame) - shot.black_offset(name)
    return (light * np.float32(2.0 ** -shot.exposure_stops(name))).astype(np.float32)


def black_average(shot: HarbourShot) -> Image:
    averager = Averager()
    for frame in shot.frames:
        averager.add(recorded(shot, "black", frame))
    return averager.result().mean


def ambient_sample(shot: HarbourShot) -> LevelSample:
    averager = Averager()
    for frame in shot.frames:
        averager.add(equalised(shot, "black", frame))
    return level_sample(averager.result().mean)


def levels_of(shot: HarbourShot, name: str) -> tuple[Levels, np.ndarray]:
    frames = [facts["shot_frame"] for facts in shot.pass_facts(name)["frames"]]
    samples = []
    for frame in frames:
        clipped = clip_mask(recorded(shot, name, frame), 0.98)
        samples.append(level_sample(equalised(shot, name, frame), clipped=clipped))
    levels = solve_levels(samples, ambient_sample(shot), moving=shot.name == "moving")
    true = np.array([shot.flicker(name, frame) for frame in frames])
    return levels, true / np.median(true)


def test_flicker_of_the_practicals_is_found(shot: HarbourShot) -> None:
    levels, true = levels_of(shot, "practicals")
    error = levels.gains / true - 1

    assert levels.trusted.all()
    # A factor common to the pass can't be known and is not flicker: the spread counts. The
    # flicker itself is 2 to 4 % rms here, and less than a twentieth and a seventh stay.
    assert error.std() <= {"locked": 0.0012, "moving": 0.0036}[shot.name]
    assert error.std() < true.std() / 5
    assert np.abs(error).max() <= {"locked": 0.002, "moving": 0.0075}[shot.name]
    # The error stated is the error made, within a factor of what so few frames can tell.
    if shot.name == "moving":
        assert 0.4 < error.std() / np.median(levels.sigma) < 2.5


def test_steady_lamps_stay_as_they_are(shot: HarbourShot) -> None:
    levels, _ = levels_of(shot, "haze")

    assert levels.trusted.all()
    assert np.sqrt(((levels.gains - 1) ** 2).mean()) <= 0.003


def test_flash_between_its_cues_has_no_level(shot: HarbourShot) -> None:
    levels, _ = levels_of(shot, "flash")
    frames = [facts["shot_frame"] for facts in shot.pass_facts("flash")["frames"]]
    lit = np.array([shot.is_lit("flash", frame) for frame in frames])

    np.testing.assert_array_equal(levels.trusted, lit)
    np.testing.assert_array_equal(levels.gains[~lit], 1.0)
    np.testing.assert_allclose(levels.gains[lit], 1.0, atol=0.004)


def true_hot(shot: HarbourShot) -> set[tuple[int, int]]:
    return {(x, y) for x, y, _ in shot.facts["hot_pixels_xy_rgb_added_linear"]}


def places(mask: np.ndarray) -> set[tuple[int, int]]:
    rows, columns = np.nonzero(mask.any(axis=2))
    return set(zip(columns.tolist(), rows.tolist(), strict=True))


def test_hot_pixels_of_a_lamps_off_average_are_exactly_the_true_ones(shot: HarbourShot) -> None:
    hot = find_hot_pixels(black_average(shot), lit=True)

    assert places(hot) == true_hot(shot)
    assert all(hot[y, x].all() for x, y in true_hot(shot))


def test_hot_pixels_are_told_from_glints_by_several_lights(shot: HarbourShot) -> None:
    if shot.name == "locked":
        chosen = [(name, 0) for name in ("practicals", "haze", "reference", "matte")]
    else:
        chosen = [("practicals", 0), ("practicals", 4), ("practicals", 9), ("haze", 2)]
    pictures = [recorded(shot, name, frame) for name, frame in chosen]

    assert places(find_staying_pixels(pictures)) == true_hot(shot)
    # Each picture by itself shows glints that are as sharp as a hot pixel.
    assert len(places(find_hot_pixels(pictures[0], lit=True))) > 3


def test_mended_pixels_show_what_lies_around(shot: HarbourShot) -> None:
    average = black_average(shot)
    hot = find_hot_pixels(average, lit=True)
    before = average.copy()

    mend_hot_pixels(average, hot)

    for x, y in true_hot(shot):
        around = before[y - 6 : y + 7, x - 6 : x + 7].reshape(-1, 3)
        assert np.abs(average[y, x] - np.median(around, axis=0)).max() < 0.002
        assert np.abs(before[y, x] - np.median(around, axis=0)).max() > 0.25


@pytest.mark.parametrize(("speed_px", "largest"), [(2, 1.13), (8, 1.14)])
def test_smoothed_ambient_lifts_the_noise_of_six_passes_little(
    speed_px: int, largest: float
) -> None:
    # Six passes less one shared estimate of error variance v: sqrt(1 + 6 v) (variance of sums).
    folder = require_full_harbour()
    leak = read_pixels(folder / "locked/truth/leak_alone.exr")[..., :3]
    random = np.random.default_rng(1)
    clean = [np.roll(leak, speed_px * step, axis=1) for step in (-1, 0, 1)]
    spread = [np.sqrt(3e-5 * np.maximum(c, 0) + 0.0006**2) for c in clean]
    frames = [
        (c + random.standard_normal(c.shape) * s).astype(np.float32)
        for c, s in zip(clean, spread, strict=True)
    ]

    inner = (slice(20, -20), slice(20, -20))
    error = (smooth_ambient(frames, 1) - clean[1])[inner]
    raw = (frames[1] - clean[1])[inner]
    lift = np.sqrt(1 + 6 * (error**2).mean() / (raw**2).mean())

    assert lift < largest
    assert abs(float(error.mean())) < 0.003 * float(leak.mean())
    assert np.sqrt(1 + 6) == pytest.approx(2.65, abs=0.005)
