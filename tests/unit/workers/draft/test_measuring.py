"""What a pass says once it is light: flicker from picture to picture, the level of a backing."""

from fractions import Fraction

import numpy as np
import pytest

from glimsum_workers.draft.measuring import (
    backing_level,
    bright_level,
    coding_of,
    level_plane,
    light_in,
    measure_flicker,
    middle_row,
)
from glimsum_workers.draft.pieces import Piece
from glimsum_workers.draft.records import ClipTags
from glimsum_workers.engine.codes import FloatPixels, Plane, RgbCodes

DARK = 0.01


def piece(kind: str, bits: int = 8, clip: ClipTags | None = None) -> Piece:
    return Piece(f"x/x.%04d.{kind}", (1, 2), 2, kind, 960, 540, bits, clip=clip)


def planes(gains: list[float]) -> list[Plane]:
    """Return a lamp that covers a part of the picture, on a dark level, at each gain."""
    lamp = np.zeros((20, 32), np.float32)
    lamp[5:15, 8:24] = 0.3
    return [(lamp * np.float32(gain) + np.float32(DARK)) for gain in gains]


def test_flicker_is_what_a_picture_differs_from_its_neighbours_without_the_dark() -> None:
    """By hand: each of 1.02, 0.98, 1.02 ... stands 0.04 from its neighbours: 4.08 % or 3.92 %."""
    found = measure_flicker(planes([1.02, 0.98] * 4))

    assert found is not None
    assert found.jump == pytest.approx(0.04, abs=0.001)
    assert found.pictures == 8


def test_a_light_that_changes_evenly_does_not_flicker() -> None:
    found = measure_flicker(planes([1 + 0.05 * n for n in range(9)]))

    assert found is not None
    assert found.jump < 1e-5


def test_a_cue_is_no_flicker() -> None:
    found = measure_flicker(planes([1.0, 1.0, 1.0, 1.0, 40.0, 1.0, 1.0, 1.0, 1.0]))

    assert found is not None
    assert found.jump < 1e-5


def test_too_few_pictures_or_no_light_tell_nothing() -> None:
    assert measure_flicker(planes([1.0, 1.1, 1.0, 1.1])) is None
    assert measure_flicker(planes([0.0] * 6)) is None


def test_neighbours_are_taken_from_the_middle() -> None:
    assert middle_row(range(1001, 1021), 9) == list(range(1006, 1015))
    assert middle_row([3, 4, 5], 9) == [3, 4, 5]


def test_a_backing_is_measured_in_linear_light_by_channel() -> None:
    """IEC 61966-2-1: code 200 is ((200 / 255 + 0.055) / 1.055)^2.4 = 0.5776; 100 is 0.1274."""
    codes = np.zeros((80, 160, 3), np.uint8)
    codes[:, 40:] = (200, 100, 0)
    codes[3, 50] = 255  # one hot pixel

    light = light_in(RgbCodes(codes, 8), piece("jpeg"))
    assert light is not None
    found = backing_level([bright_level(light)] * 3, "srgb_rec709_scene")

    assert found is not None
    assert found.level == pytest.approx((0.5776, 0.1274, 0.0), abs=0.0002)
    assert found.pictures == 3


def test_a_coding_that_is_not_known_is_not_measured() -> None:
    unsaid = ClipTags(Fraction(24), None, "bt709")

    assert coding_of(piece("tiff", 16)) is None
    assert coding_of(piece("clip", clip=unsaid)) is None
    assert light_in(RgbCodes(np.zeros((8, 8, 3), np.uint16), 16), piece("tiff", 16)) is None
    assert backing_level([], "srgb_rec709_scene") is None


def test_floats_are_light_already() -> None:
    values = np.full((16, 32, 3), 1.75, np.float32)

    light = light_in(FloatPixels(values), piece("exr", 16))

    assert light is not None
    assert bright_level(light).tolist() == [1.75, 1.75, 1.75]


def test_a_picture_without_a_cell_has_no_level() -> None:
    assert level_plane(np.zeros((1, 640, 3), np.float32)) is None
