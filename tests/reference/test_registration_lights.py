"""Registration on the cluttered quay, whose true motions are put in by Fourier's theorem.

The truth is the camera's. The bounds are our own: 8 to 40 thousandths of a pixel rms is what is
wanted of lamps at 960 x 540 pixels (``tests/bench/bench_peers.py`` prints what other methods
give on such pairs). The seeds were not used while the method was made.
"""

import pytest

from glimsum_workers.engine.motion import Motion
from glimsum_workers.engine.registration.bands import ACROSS_LIGHTS, GENERAL
from glimsum_workers.engine.registration.prepared import prepare
from glimsum_workers.engine.registration.register import register
from support.clutter_pairs import Pair, Set, draw_shift, rms

QUAY = Set(23, (540, 960))
SMALL = Set(31, (360, 640))

ROTATED = Motion(1.7, -0.9, rotation_deg=0.0172, scale=1.0002)
"""3e-4 radians."""


@pytest.mark.parametrize(
    ("light", "draws", "most_rms", "most"),
    [
        ("full", 4, 0.006, 0.010),
        ("side", 5, 0.032, 0.080),
        ("practicals", 4, 0.024, 0.060),
        ("dark", 5, 0.040, 0.100),
        ("flash", 4, 0.024, 0.060),
        ("fog", 4, 0.016, 0.040),
    ],
)
def test_shifts_are_found_in_any_light(
    light: str, draws: int, most_rms: float, most: float
) -> None:
    pairs = [QUAY.pair(light, draw_shift(400 + each), 500 + each) for each in range(draws)]

    errors = [pair.error() for pair in pairs]
    assert rms(errors) <= most_rms
    assert max(errors) <= most
    assert all(pair.found.trusted for pair in pairs)
    assert max(pair.in_sigmas() for pair in pairs) <= 3


@pytest.mark.parametrize(("light", "most"), [("full", 0.010), ("side", 0.080), ("flash", 0.080)])
def test_rotation_and_scale_are_found_to_the_corners(light: str, most: float) -> None:
    pair = QUAY.pair(light, ROTATED, 610)

    assert pair.worst_corner() <= most
    assert pair.worst_corner() <= 3 * pair.found.corner_sigma_px


def test_affine_maps_are_found_too() -> None:
    pair = QUAY.pair("full", ROTATED, 611, model="affine")

    assert pair.worst_corner() <= 0.015


def test_far_shifts_are_found() -> None:
    pair = QUAY.pair("side", Motion(14.5, -11.25), 612)

    assert pair.error() <= 0.06


def test_paint_that_follows_relief_widens_sigma_and_an_alignment_frame_heals_it() -> None:
    grooved = Set(37, SMALL.size, grooves=0.6)
    shift = Motion(0.8, -0.4)

    across = [grooved.pair(light, shift, 620) for light in ("side", "flash", "practicals")]
    alignment_frame = grooved.pair("full", shift, 621)

    assert max(pair.error() for pair in across) > 0.05  # else nothing is tried here
    assert max(pair.in_sigmas() for pair in across if pair.found.trusted) <= 3
    assert all(pair.found.sigma_px >= pair.error() / 4 for pair in across)
    assert alignment_frame.error() <= 0.008


@pytest.mark.parametrize("seed", [41, 43])
def test_deep_grooves_in_small_pictures_are_not_trusted_with_half_a_pixel(seed: int) -> None:
    """Side light on hollows that are painted dark, 480 x 270: the finest details all move alike."""
    grooved = Set(seed, (270, 480), grooves=0.8)
    pair = grooved.pair("side", Motion(1.3, -0.6), 625)

    assert pair.error() > 0.15  # else nothing is tried here
    assert pair.found.sigma_px >= pair.error() / 2
    assert not (pair.found.trusted and pair.error() > 0.5)


def test_a_moved_camera_raises_the_alarm_and_a_shift_does_not() -> None:
    moved = Set(SMALL.seed, SMALL.size, moved=(0.001, 0.0, 0.0))
    shot = moved.shoot("full", Motion(0.4, 0.2), 631)

    parallax = register(
        SMALL.reference(GENERAL), prepare(shot.light, clipped=shot.clipped), same_light=True
    )
    shift = SMALL.pair("full", Motion(0.4, 0.2), 632).found

    assert parallax.alarm > 2
    assert shift.alarm < 1.4


def test_a_darker_and_darker_pass_ends_untrusted_and_never_jumps_while_trusted() -> None:
    motion = Motion(1.2, -0.7)
    pairs = []
    for stops in range(0, 13, 2):
        shot = SMALL.shoot("practicals", motion, 640 + stops, exposure=0.5 / 2**stops)
        moving = prepare(shot.light, clipped=shot.clipped, band=ACROSS_LIGHTS)
        found = register(SMALL.reference(), moving)
        pairs.append(Pair(found, motion, SMALL.size))

    assert pairs[0].found.trusted
    assert not pairs[-1].found.trusted
    assert pairs[-1].found.reason
    assert all(pair.in_sigmas() <= 3 for pair in pairs if pair.found.trusted)
