"""Tracks of a locked camera, from registrations with known errors."""

import numpy as np
import pytest

from glimsum_workers.engine.drift.locked import solve_locked, solve_reference
from glimsum_workers.engine.motion import STILL, Affine, Motion, Registration
from support.drift_tracks import SIZE, along, found, neighbour, nothing_found, shifts_of

CONSTANT = Motion(0.7, -0.4, 0.02, 1.0003)


def crossing(own: dict[int, Registration], error: float, seed: int = 1) -> dict[int, Registration]:
    """Return what registering across lights finds: the truth, an own error on each frame."""
    rng = np.random.default_rng(seed)
    result = {}
    for frame, each in own.items():
        true = each.motion.after(CONSTANT)
        assert isinstance(true, Motion)
        off = rng.normal(0, error, 2)
        moved = Motion(true.dx + off[0], true.dy + off[1], true.rotation_deg, true.scale)
        result[frame] = found(moved, 0.05)
    return result


def test_a_pass_is_tracked_in_its_own_light_and_placed_by_one_constant() -> None:
    jitter = np.random.default_rng(2).normal(0, 0.06, (24, 2))
    jitter[5] = 0.0
    own = along(jitter)

    track = solve_locked(crossing(own, 0.05), own, best=5, size=SIZE)

    expected = np.array([[m.dx, m.dy] for m in (own[n].motion.after(CONSTANT) for n in range(24))])
    error = shifts_of(track) - expected
    # What is left is the constant's: the mean of 24 errors of 0.05 px.
    assert float(np.abs(error).max()) < 3 * 0.05 / np.sqrt(24) + 0.005
    assert float(error.std(axis=0).max()) < 0.003
    assert track.sources == ("same light",) * 24
    assert bool(track.trusted.all())
    # Errors across lights may be common to all frames: averaging must not hide them.
    np.testing.assert_allclose(track.sigma_px, 0.05, rtol=0.25)


def test_a_turned_pass_is_placed_in_the_right_order() -> None:
    turned = Motion(3.0, -2.0, 0.5, 1.004)
    own = {0: found(STILL), 1: found(turned)}

    track = solve_locked(crossing(own, 0.0), own, best=0, size=SIZE)

    assert track.at(1).dx == pytest.approx(turned.after(CONSTANT).dx, abs=1e-3)
    assert track.at(1).dy == pytest.approx(turned.after(CONSTANT).dy, abs=1e-3)


def test_one_frame_across_lights_is_enough() -> None:
    own = along(np.zeros((6, 2)))
    cross = {3: crossing(own, 0.0)[3]}

    track = solve_locked(cross, own, best=2, size=SIZE)

    np.testing.assert_allclose(shifts_of(track), [[0.7, -0.4]] * 6, atol=1e-3)


def test_a_wrong_frame_across_lights_has_no_say() -> None:
    own = along(np.zeros((12, 2)))
    cross = crossing(own, 0.01) | {4: found(Motion(5.0, 5.0), 0.05)}

    track = solve_locked(cross, own, best=0, size=SIZE)

    np.testing.assert_allclose(shifts_of(track), [[0.7, -0.4]] * 12, atol=0.02)


def test_a_frame_that_cannot_be_tracked_keeps_what_was_found_across_lights() -> None:
    own = along(np.zeros((6, 2))) | {4: nothing_found()}
    cross = crossing(along(np.zeros((6, 2))), 0.0) | {4: found(Motion(1.9, -0.4), 0.05)}

    track = solve_locked(cross, own, best=0, size=SIZE)

    assert track.sources[4] == "measured"
    assert track.at(4).dx == pytest.approx(1.9, abs=0.05)
    assert track.sigma_px[4] > track.sigma_px[3]


def test_a_frame_that_shows_nothing_lies_between_its_neighbours() -> None:
    shifts = np.array([[0.0, 0.0], [0.0, 0.0], [9.0, 9.0], [9.0, 9.0], [0.0, 0.0]])
    own = along(shifts) | {2: nothing_found(), 3: nothing_found()}
    cross = crossing(along(np.zeros((5, 2))), 0.0) | {2: nothing_found(), 3: nothing_found()}

    track = solve_locked(cross, own, best=0, size=SIZE)

    assert track.sources[2:4] == ("interpolated", "interpolated")
    np.testing.assert_allclose(shifts_of(track)[2:4], [[0.7, -0.4]] * 2, atol=0.01)
    assert track.sigma_px[2] > track.sigma_px[1]


def test_a_knock_is_named_and_each_side_corrected_apart() -> None:
    shifts = np.zeros((8, 2))
    shifts[5:] = [-1.5, -0.5]
    own = along(shifts)

    track = solve_locked(crossing(own, 0.0), own, best=2, size=SIZE)

    assert [step.frame for step in track.steps] == [5]
    np.testing.assert_allclose([track.steps[0].dx, track.steps[0].dy], [-1.5, -0.5], atol=0.01)
    assert any("knocked before frame 5" in each and "-1.50 px" in each for each in track.remarks)
    assert track.at(4).dx == pytest.approx(0.7, abs=0.01)
    assert track.at(5).dx == pytest.approx(-0.8, abs=0.01)
    assert track.steady_from == 5


def test_a_knock_of_the_reference_is_undone_and_the_hold_frame_untouched() -> None:
    shifts = np.random.default_rng(6).normal(0, 0.001, (10, 2))
    shifts[0] = 0.0
    shifts[6:] += [0.8, -0.3]

    track = solve_reference(along(shifts), hold=0, size=SIZE)

    assert [step.frame for step in track.steps] == [6]
    assert track.at(0) == STILL
    assert track.at(5) == STILL
    np.testing.assert_allclose(shifts_of(track)[6:], [[0.8, -0.3]] * 4, atol=0.005)


def test_a_pass_without_anything_in_common_goes_where_its_neighbours_are() -> None:
    shifts = np.array([[0.0, 0.0], [0.2, 0.0], [0.2, 0.0]])
    cross = {frame: nothing_found() for frame in range(3)}
    others = {
        "beauty": neighbour(dict.fromkeys(range(3), (0.50, 0.30))),
        "haze": neighbour(dict.fromkeys(range(3), (0.54, 0.28))),
    }

    track = solve_locked(cross, along(shifts), best=0, size=SIZE, neighbours=others)

    assert track.sources == ("neighbours",) * 3
    # Its own steadiness is kept: the second frame lies 0.2 px from the first.
    assert track.at(1).dx - track.at(0).dx == pytest.approx(0.2, abs=0.01)
    np.testing.assert_allclose(shifts_of(track).mean(axis=0), [0.52, 0.29], atol=0.01)
    assert bool(track.trusted.all())


def test_neighbours_that_differ_are_not_trusted() -> None:
    cross = {frame: nothing_found() for frame in range(3)}
    others = {
        "beauty": neighbour(dict.fromkeys(range(3), (-0.8, 0.5))),
        "haze": neighbour(dict.fromkeys(range(3), (0.7, -0.4))),
    }

    track = solve_locked(cross, {}, best=0, size=SIZE, neighbours=others)

    assert not track.trusted.any()
    assert any("not trusted" in each or "0.3 wanted" in each for each in track.remarks)


def test_where_nothing_is_known_nothing_is_claimed() -> None:
    track = solve_locked({0: nothing_found()}, {}, best=0, size=SIZE, frames=(0, 1))

    assert track.motions == (STILL, STILL)
    assert track.sources == ("still", "still")
    assert not track.trusted.any()
    assert np.isinf(track.sigma_px).all()
    assert track.steady_from is None
    assert any("not known at all" in each for each in track.remarks)


def test_more_than_a_similarity_is_kept() -> None:
    bent = Affine(0.3, 0.1, ((1.0, 0.001), (0.0, 1.002)))
    own = along(np.zeros((3, 2)))

    track = solve_locked({frame: found(bent, 0.02) for frame in range(3)}, own, best=0, size=SIZE)

    assert isinstance(track.at(2), Affine)
    np.testing.assert_allclose(track.at(2).turn(), bent.turn(), atol=1e-5)


def test_slow_growth_is_told_as_warmth() -> None:
    own = {
        frame: found(Motion(0.0, 0.0, 0.0, 1 + 2e-5 * frame), turn_px=0.01) for frame in range(20)
    }

    track = solve_locked(crossing(own, 0.0), own, best=0, size=SIZE)

    # 19 * 2e-5 * half of hypot(960, 540) = 0.21 px
    assert any("grows" in each and "0.21 px" in each for each in track.remarks)
    assert track.steps == ()


def test_a_camera_that_stood_elsewhere_asks_for_a_retake() -> None:
    own = {frame: found(STILL) for frame in range(5)}
    cross = {frame: found(CONSTANT, 0.05, alarm=44.0) for frame in range(5)}

    track = solve_locked(cross, own, best=0, size=SIZE)

    assert any("retake" in each and "5 of 5 frames" in each for each in track.remarks)


def test_the_best_frame_must_be_one_of_the_frames() -> None:
    with pytest.raises(ValueError, match=r"frame 9, .* is not in \(0, 1\)"):
        solve_locked({}, {}, best=9, size=SIZE, frames=(0, 1))
