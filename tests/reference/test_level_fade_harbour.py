"""Flicker of the harbour's small lamps taken out while a fade, a boat and clipped lamps stay.

Source: the harbour set's truth (ray-traced; the flicker of every frame is known). The fade, the
boat and the clipping are put in here, by arithmetic, on the decoded pictures.
"""

from functools import cache

import numpy as np
import pytest

from glimsum_workers.engine.codes import Image
from glimsum_workers.engine.dark import Averager
from glimsum_workers.engine.hot_pixels import clip_mask
from glimsum_workers.engine.level.compare import Compared, compare_frames
from glimsum_workers.engine.level.sample import level_sample
from glimsum_workers.engine.level.solve import levels_of
from support.harbour import HarbourShot, full_shot, read_pixels, require_full_harbour
from support.harbour_chain import decode

STOPS = -1.0
OVER = 6
"""Frames over which the light fades."""


@cache
def equalised(which: str, name: str, frame: int) -> Image:
    shot = full_shot(require_full_harbour(), which)
    light = decode(read_pixels(shot.file(name, frame))[..., :3], shot.space(name))
    light = light - shot.black_offset(name)
    told: Image = np.asarray(light * 2.0 ** -shot.exposure_stops(name), dtype=np.float32)
    return told


def frames_of(shot: HarbourShot) -> list[int]:
    return [facts["shot_frame"] for facts in shot.pass_facts("practicals")["frames"]]


def fade_of(count: int) -> np.ndarray:
    """Return one stop down over six frames, linear in light, in the middle of the shot."""
    begin = max(0, (count - 1 - OVER) // 2)
    part = np.clip((np.arange(count) - begin) / min(OVER, count - 1), 0, 1)
    return np.asarray(1 + part * (2.0**STOPS - 1), dtype=np.float64)


def with_boat(light: Image, place: float) -> Image:
    """Return a picture through which a dark hull with a lit cabin goes, a sixth of its width."""
    height, width = light.shape[:2]
    left = int(place * (width - width // 6))
    told = light.copy()
    told[height // 3 : 2 * height // 3, left : left + width // 6] = 0.004
    told[2 * height // 5 : height // 2, left + 20 : left + 60] = 0.3
    return told


@cache
def compared(which: str) -> tuple[Compared, np.ndarray, np.ndarray]:
    """Return the compared frames of the spoilt pass, its true flicker and its fade."""
    shot = full_shot(require_full_harbour(), which)
    frames, room = frames_of(shot), Averager()
    for frame in shot.frames:
        room.add(equalised(which, "black", frame))
    dim = room.result().mean
    fade = fade_of(len(frames))
    # The flicker of the set multiplies its leak too; here the room stays as it is.
    lamps = [
        equalised(which, "practicals", frame) - shot.flicker("practicals", frame) * dim
        for frame in frames
    ]
    lights = [
        with_boat((lamp * gain + dim).astype(np.float32), place / len(frames))
        for place, (lamp, gain) in enumerate(zip(lamps, fade, strict=True))
    ]
    top = float(np.quantile(lights[0].max(axis=2), 0.99))
    samples = [
        level_sample(np.minimum(light, top), clipped=clip_mask(light, top)) for light in lights
    ]
    true = np.array([shot.flicker("practicals", frame) for frame in frames])
    return compare_frames(samples, level_sample(dim), moving=which == "moving"), true, fade


@pytest.mark.parametrize(("which", "rms"), [("locked", 0.001), ("moving", 0.005)])
def test_flicker_goes_and_a_stated_fade_stays(which: str, rms: float) -> None:
    pairs, true, fade = compared(which)

    levels = levels_of(pairs, meant=fade)
    error = levels.gains / (true / np.median(true)) - 1

    assert levels.trusted.all()
    # A factor common to the pass can't be known: the spread counts.
    assert error.std() <= rms
    # The fade that is left in the light, first frame to last, against the one that was put in.
    kept = fade * true / levels.gains
    assert kept[-1] / kept[0] == pytest.approx(2.0**STOPS, rel=0.005)


def test_a_fade_nobody_stated_is_kept_to_what_its_flicker_allows() -> None:
    pairs, true, fade = compared("moving")

    levels = levels_of(pairs)
    kept = fade * true / levels.gains

    assert levels.slow_is_kept
    assert levels.slow is not None
    # The true flicker of the first four frames is 3.6 % below that of the last four; nothing in
    # the pictures tells that from a shallower fade.
    assert kept[-1] / kept[0] == pytest.approx(2.0**STOPS, rel=0.06)
    for plateau in (kept[:4], kept[-4:]):
        assert plateau.std() <= 0.005 * plateau.mean()


@pytest.mark.parametrize("which", ["locked", "moving"])
def test_held_to_one_frame_the_fade_goes_too(which: str) -> None:
    pairs, true, fade = compared(which)
    last = len(true) - 1

    levels = levels_of(pairs, anchor=last)
    kept = fade * true / levels.gains

    np.testing.assert_allclose(kept / kept[last], 1.0, atol=0.004 if which == "locked" else 0.015)
