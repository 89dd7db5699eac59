"""Tracks of a standing camera through pictures: faint passes, dead frames, and very short passes.

Truth as in `test_alignment_draws`: 16 frames, each trembling by 0.04 px, a constant shift, rotation
and scale. Bounds are our own; 20 thousandths of a pixel for a pass at 1/24 of its exposure.
"""

from functools import cache

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.drift.moving import solve_moving
from glimsum_workers.engine.drift.track import Track
from support.clutter_pairs import Set
from support.static_shot import CONSTANT, TREMBLE_PX, StaticShot

QUAY = Set(202, (540, 960), stock="crates")
SMALL = Set(222, (324, 576), stock="nets")
BEST = 2


@cache
def faint(parts: int) -> StaticShot:
    """Return practicals of which one part in so many reaches the sensor."""
    return StaticShot(QUAY, "practicals", 16, 1 / parts)


@cache
def side() -> tuple[StaticShot, Track]:
    """Return eight frames in light from the side, and their track."""
    shot = StaticShot(SMALL, "side", 8)
    return shot, shot.solve(BEST)


def lengths(shot: StaticShot, track: Track) -> NDArray[np.float64]:
    return np.asarray(np.hypot(*shot.errors(track).T), dtype=np.float64)


def test_a_pass_at_a_twenty_fourth_is_placed_within_a_fiftieth_of_a_pixel_on_every_frame() -> None:
    """At half the set there are 22 electrons in a pixel, 4 of them noise of reading."""
    shot = faint(24)

    track = shot.solve(BEST)

    assert bool(track.trusted.all())
    assert np.sqrt(np.mean(lengths(shot, track) ** 2)) <= 0.020
    assert lengths(shot, track).max() <= 0.030
    assert track.steps == ()


def test_a_pass_too_faint_to_see_is_flagged_and_never_jumps() -> None:
    """A 64th of the dark pass: in half the set a pixel gets a tenth of an electron."""
    shot = faint(64 * 75)

    track = shot.solve(BEST)

    assert not track.trusted.any()
    assert any("not known" in each for each in track.remarks)
    # What bulbs still show of the tremble may be followed, and no more than that.
    assert np.ptp(shot.errors(track), axis=0).max() <= 0.2
    assert track.steps == ()


def test_a_dead_frame_lies_between_its_neighbours_and_says_how_unsure_it_is() -> None:
    whole, before = side()
    holed = StaticShot(SMALL, "side", 8, dead=(4,))

    after = holed.solve(BEST)

    errors = np.abs(holed.errors(after))
    assert after.sources[4] == "interpolated"
    assert after.sigma_px[4] > max(after.sigma_px[[3, 5]])
    # The frame trembled where nobody saw it: its own tremble is all that may be missed.
    assert errors[4].max() <= 4 * TREMBLE_PX + np.abs(whole.errors(before)).max()
    assert (errors <= 3 * after.sigma_px[:, None]).mean() >= 0.95
    others = [0, 1, 2, 3, 5, 6, 7]
    moved = holed.errors(after, others) - whole.errors(before, others)
    assert np.abs(moved).max() <= 0.01


def test_a_pass_of_two_frames_is_placed_as_well_as_one_of_eight() -> None:
    (long, many), short = side(), StaticShot(SMALL, "side", 2)

    few = short.solve(1)

    assert bool(few.trusted.all())
    assert lengths(short, few).max() <= 2 * lengths(long, many).max()
    assert (np.abs(short.errors(few)) <= 3 * few.sigma_px[:, None]).all()


def test_a_moving_camera_bridges_a_dead_frame_too() -> None:
    shot = StaticShot(SMALL, "flash", 6, dead=(3,))

    track = solve_moving(shot.across(), {}, {}, size=SMALL.size, frames=range(6))

    errors = np.abs(shot.errors(track))
    assert track.sources[3] == "interpolated"
    assert np.hypot(track.at(3).dx - CONSTANT.dx, track.at(3).dy - CONSTANT.dy) <= 0.15
    assert (errors <= 3 * track.sigma_px[:, None]).mean() >= 0.95
