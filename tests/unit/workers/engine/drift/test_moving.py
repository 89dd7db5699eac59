"""Tracks of a moving camera, from registrations with known errors."""

import numpy as np
import pytest

from glimsum_workers.engine.drift.moving import solve_moving
from glimsum_workers.engine.motion import STILL, Motion, Registration
from support.drift_tracks import SIZE, Numbers, along, found, neighbour, nothing_found, shifts_of

FRAMES = 72


def drifting(seed: int, jitter: float = 0.1) -> Numbers:
    rng = np.random.default_rng(seed)
    return np.cumsum(rng.normal(0, 0.03, (FRAMES, 2)), axis=0) + rng.normal(0, jitter, (FRAMES, 2))


def steps_of(
    true: Numbers, error: float, seed: int, sigma_px: float
) -> tuple[dict[int, Registration], dict[int, Registration]]:
    """Return steps of a pass and of a reference that pans by 3 px a frame."""
    rng = np.random.default_rng(seed)
    pan = np.array([3.0, 0.0])
    own = np.diff(true, axis=0) + pan + rng.normal(0, error, (len(true) - 1, 2))
    reference = np.tile(pan, (len(true) - 1, 1))
    return along(own, sigma_px), along(reference, sigma_px)


def test_without_increments_every_frame_is_what_was_measured() -> None:
    true = drifting(1)

    track = solve_moving(along(true, 0.05), {}, {}, size=SIZE)

    np.testing.assert_allclose(shifts_of(track), true, atol=1e-12)
    np.testing.assert_allclose(track.sigma_px, 0.05)
    assert set(track.sources) == {"measured"}


def test_sure_increments_take_out_errors_of_single_frames_and_leave_the_jitter() -> None:
    gains = []
    for seed in range(6):
        true = drifting(seed)
        measured = true + np.random.default_rng(seed + 50).normal(0, 0.1, true.shape)
        own, reference = steps_of(true, 0.01, seed + 90, 0.02)
        track = solve_moving(along(measured, 0.15), own, reference, size=SIZE)
        error = shifts_of(track) - true
        gains.append(float(np.sqrt(np.mean((measured - true) ** 2) / np.mean(error**2))))
        # Sigmas stay honest: 97 of 100 errors within three of them.
        assert np.mean(np.abs(error) <= 3 * track.sigma_px[:, None]) >= 0.97
        assert float(track.sigma_px.max()) < 0.15

    assert float(np.median(gains)) > 2.0


def test_a_mean_error_of_increments_does_not_bend_the_track() -> None:
    true = drifting(2)
    measured = true + np.random.default_rng(3).normal(0, 0.1, true.shape)
    own, reference = steps_of(true, 0.01, 4, 0.02)
    leaning = {n: found(Motion(r.motion.dx + 0.2, r.motion.dy), 0.02) for n, r in own.items()}

    track = solve_moving(along(measured, 0.15), leaning, reference, size=SIZE)

    assert float(np.sqrt(np.mean((shifts_of(track) - true) ** 2))) < 0.06


@pytest.mark.parametrize("seed", range(4))
def test_unsure_increments_change_nothing(seed: int) -> None:
    true = drifting(seed)
    measured = true + np.random.default_rng(seed).normal(0, 0.005, true.shape)
    own, reference = steps_of(true, 0.2, seed, 0.2)

    track = solve_moving(along(measured, 0.05), own, reference, size=SIZE)

    np.testing.assert_allclose(shifts_of(track), measured, atol=1e-9)


def test_increments_that_answer_jitter_in_part_change_nothing_in_good_frames() -> None:
    # Parallax: near things answer a shift of the camera more than far ones do.
    true = drifting(5)
    own, reference = steps_of(1.4 * true, 0.001, 6, 0.08)

    track = solve_moving(along(true, 0.05), own, reference, size=SIZE)

    np.testing.assert_allclose(shifts_of(track), true, atol=1e-9)


def test_frames_that_are_not_trusted_lie_on_the_line_between() -> None:
    shifts = np.zeros((9, 2))
    shifts[:, 0] = 0.1 * np.arange(9)
    cross = along(shifts, 0.04) | {4: nothing_found(), 5: nothing_found()}

    track = solve_moving(cross, {}, {}, size=SIZE)

    np.testing.assert_allclose(shifts_of(track)[4:6, 0], [0.4, 0.5], atol=0.02)
    assert track.sources[4:6] == ("interpolated", "interpolated")
    assert track.sigma_px[4] > 0.04


def test_far_from_any_measured_frame_nothing_is_trusted() -> None:
    rng = np.random.default_rng(8)
    shifts = np.cumsum(rng.normal(0, 0.1, (40, 2)), axis=0)
    cross = along(shifts, 0.04) | {n: nothing_found() for n in range(6, 40)}

    track = solve_moving(cross, {}, {}, size=SIZE)

    assert bool(track.trusted[7])
    assert not track.trusted[39]
    assert bool((np.diff(track.sigma_px[5:]) > 0).all())
    assert any("Compare them with the reference" in each for each in track.remarks)


def test_a_pass_without_detail_takes_the_track_of_its_neighbours() -> None:
    shifts = {n: (0.5 + 0.01 * n, -0.2) for n in range(8)}
    cross = {n: nothing_found() for n in range(8)}
    others = {
        "beauty": neighbour(shifts),
        "haze": neighbour({n: (x + 0.04, y) for n, (x, y) in shifts.items()}),
    }

    track = solve_moving(cross, {}, {}, size=SIZE, neighbours=others)

    assert track.sources == ("neighbours",) * 8
    np.testing.assert_allclose(shifts_of(track)[:, 0], [0.52 + 0.01 * n for n in range(8)])
    assert bool(track.trusted.all())
    assert bool((track.sigma_px > 0.02).all())


def test_a_single_neighbour_says_little() -> None:
    # Common practice, no source: two passes of one rig are not off alike.
    cross = {n: nothing_found() for n in range(3)}
    others = {"beauty": neighbour(dict.fromkeys(range(3), (0.9, 0.2)))}

    track = solve_moving(cross, {}, {}, size=SIZE, neighbours=others)

    assert not track.trusted.any()


def test_without_anything_the_pass_is_left_still_and_not_trusted() -> None:
    track = solve_moving({0: nothing_found(), 1: nothing_found()}, {}, {}, size=SIZE)

    assert track.motions == (STILL, STILL)
    assert track.sources == ("still", "still")
    assert not track.trusted.any()


def test_frames_that_were_never_registered_are_filled_too() -> None:
    cross = {n: found(Motion(1.0, 0.5), 0.05) for n in (0, 4, 8)}

    track = solve_moving(cross, {}, {}, size=SIZE, frames=range(9))

    assert track.frames == tuple(range(9))
    np.testing.assert_allclose(shifts_of(track), [[1.0, 0.5]] * 9, atol=1e-6)
    assert track.sources.count("interpolated") == 6


def test_one_frame_alone_makes_a_track() -> None:
    track = solve_moving({7: found(Motion(1.0, 2.0), 0.05)}, {}, {}, size=SIZE)

    assert track.at(7) == Motion(1.0, 2.0)
    with pytest.raises(ValueError, match="frame 8 is not in the track"):
        track.at(8)
