"""Tracks of the harbour's passes against its truth: drift, knocks, and honest sigmas.

Source: the harbour's ``truth.json`` (ray-traced; the best-fitting shift, rotation and scale of the
modelled cameras). The planted knock is made by SciPy's splines.
"""

import numpy as np
import pytest
from scipy.ndimage import shift

from glimsum_workers.engine.drift.locked import solve_locked, solve_reference
from glimsum_workers.engine.drift.moving import solve_moving
from glimsum_workers.engine.drift.track import Track
from glimsum_workers.engine.motion import Registration
from glimsum_workers.engine.registration.prepared import prepare
from glimsum_workers.engine.registration.register import register
from support.harbour import true_drift
from support.harbour_drift import (
    REFERENCE,
    SIZE,
    crossing,
    errors_of,
    find_shot,
    from_frame,
    moving_set,
    pair,
    pass_light,
    prepared,
    rms,
    steps_of,
)

PASSES = ("beauty", "practicals", "flash", "haze", "matte")
HOLD, BEST = 0, 2
LIT_FLASH_PX = 0.1
"""Light from behind moves the edges of everything by nearly as much on each frame."""


def moving(name: str) -> Track:
    return solve_moving(crossing(moving_set(), name), {}, {}, size=SIZE)


def locked(name: str) -> Track:
    cross = from_frame("locked", (REFERENCE, HOLD), name)
    own = from_frame("locked", (name, BEST), name)
    return solve_locked(cross, own, best=BEST, size=SIZE)


def assert_honest(errors: np.ndarray, track: Track) -> None:
    """At least 97 of 100 errors lie within three sigmas of what was claimed, where trusted."""
    kept = track.trusted
    inside = np.abs(errors[kept]) <= 3 * track.sigma_px[kept][:, None]
    assert float(inside.mean()) >= 0.97


@pytest.mark.parametrize("name", ["beauty", "haze"])
def test_a_lit_pass_of_the_moving_camera_is_tracked_to_a_tenth_of_a_pixel(name: str) -> None:
    track = moving(name)
    errors = errors_of(moving_set(), name, track)

    assert bool(track.trusted.all())
    assert rms(errors) <= 0.1
    assert track.steps == ()
    assert_honest(errors, track)


def test_practicals_of_the_moving_camera_are_tracked_or_not_trusted() -> None:
    track = moving("practicals")
    errors = errors_of(moving_set(), "practicals", track)

    assert int((~track.trusted).sum()) <= 3
    assert rms(errors[track.trusted]) <= 0.3
    assert track.steps == ()
    assert_honest(errors, track)


def test_the_matte_of_the_moving_camera_is_tracked_or_not_trusted() -> None:
    track = moving("matte")
    errors = errors_of(moving_set(), "matte", track)

    assert rms(errors[track.trusted]) <= 0.15
    assert_honest(errors, track)


def test_lit_frames_of_the_flash_are_tracked_and_dark_ones_honest() -> None:
    shot = find_shot(moving_set())
    track = moving("flash")
    errors = errors_of(moving_set(), "flash", track)

    lit = [track.frames.index(frame) for frame in shot.facts["flash_lit_frames"]]
    assert bool(track.trusted[lit].all())
    assert rms(errors[lit]) <= LIT_FLASH_PX
    assert_honest(errors, track)


def test_increments_neither_help_nor_harm_under_parallax() -> None:
    # Near things move 3 px a frame against far ones: no increment is surer than a frame.
    plain = moving("beauty")
    helped = solve_moving(
        crossing(moving_set(), "beauty"),
        steps_of(moving_set(), "beauty"),
        steps_of(moving_set(), REFERENCE),
        size=SIZE,
    )

    assert rms(errors_of(moving_set(), "beauty", helped)) <= rms(
        errors_of(moving_set(), "beauty", plain)
    ) * (1 + 1e-9)


@pytest.mark.parametrize("name", PASSES)
def test_a_pass_of_the_locked_camera_is_tracked_and_steadier_than_its_frames(name: str) -> None:
    track = locked(name)
    errors = errors_of("locked", name, track)

    assert bool(track.trusted.all())
    assert rms(errors) <= 0.1
    single = [
        [found.motion.dx - true.dx, found.motion.dy - true.dy]
        for frame, found in from_frame("locked", (REFERENCE, HOLD), name).items()
        for true in [true_drift(find_shot("locked"), name, frame)]
    ]
    assert rms(errors) <= rms(np.array(single)) + 0.002
    assert_honest(errors, track)


@pytest.mark.parametrize(
    ("name", "knocks"),
    [("beauty", [4]), ("haze", [3]), ("practicals", []), ("flash", []), ("matte", [])],
)
def test_knocks_of_the_locked_camera_are_found_where_they_are_and_nowhere_else(
    name: str, knocks: list[int]
) -> None:
    track = locked(name)

    assert [step.frame for step in track.steps] == knocks
    for step in track.steps:
        before = true_drift(find_shot("locked"), name, step.frame - 1)
        after = true_drift(find_shot("locked"), name, step.frame)
        assert abs(step.dx - (after.dx - before.dx)) <= 0.1
        assert abs(step.dy - (after.dy - before.dy)) <= 0.1
    assert track.steady_from == max(knocks, default=0)


def test_a_knock_of_the_reference_is_found_and_does_not_show() -> None:
    shot, knock, first = find_shot("locked"), (0.9, -0.6), 3
    own: dict[int, Registration] = {}
    for frame in shot.frames:
        light, clipped = pass_light(shot, REFERENCE, frame)
        light = light.mean(axis=-1, dtype=np.float32)
        if frame >= first:
            light = np.asarray(
                shift(light, (knock[1], knock[0]), order=5, mode="nearest"), dtype=np.float32
            )
        own[frame] = register(
            prepared("locked", REFERENCE, HOLD), prepare(light, clipped=clipped), same_light=True
        )

    reference = solve_reference(own, hold=HOLD, size=SIZE)

    (step,) = reference.steps
    assert step.frame == first
    assert np.hypot(step.dx - knock[0], step.dy - knock[1]) <= 0.1
    # Brought back by its track, each frame of the reference lies on the hold frame ...
    for frame in shot.frames:
        true = knock if frame >= first else (0.0, 0.0)
        left = reference.at(frame).dx - true[0], reference.at(frame).dy - true[1]
        assert np.hypot(*left) <= 0.02
    # ... and so does each frame of a pass, whose track never looks at the knocked frames.
    assert rms(errors_of("locked", "practicals", locked("practicals"))) <= 0.1
    assert pair("locked", (REFERENCE, HOLD), ("practicals", 4)).trusted
