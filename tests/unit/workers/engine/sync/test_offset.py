"""Which offset is chosen, and when a person is asked."""

import pytest

from glimsum_workers.engine.sync.offset import choose_offset
from glimsum_workers.engine.sync.pace import Break, find_breaks, find_pace, place_frames


def peak(at: float, offset: int) -> float:
    """Return a score that falls off from the true offset."""
    return 10.0 - 3.0 * min(abs(offset - at), 2.5)


def test_the_offset_that_shares_most_is_chosen() -> None:
    scores = {offset: [peak(2, offset)] * 3 for offset in range(-2, 5)}

    found = choose_offset(scores)

    assert (found.offset, found.certain, found.reason) == (2, True, "")
    assert found.margin == pytest.approx(0.3)


def test_a_small_margin_is_asked_about() -> None:
    scores = {0: [10.0, 10.0, 10.0], 1: [10.1, 10.1, 10.1], -1: [9.9, 9.9, 9.9]}

    found = choose_offset(scores)

    assert (found.offset, found.certain) == (1, False)
    assert found.margin == pytest.approx(0.1 / 10.1)
    assert "2.0% better" in found.reason
    assert "10% wanted" in found.reason
    assert "start_offset" in found.reason


def test_a_locked_camera_is_asked_about_whatever_the_scores() -> None:
    found = choose_offset({0: [5.0] * 3, 3: [50.0] * 3}, moving=False)

    assert (found.offset, found.certain) == (0, False)
    assert "locked" in found.reason


def test_a_pass_that_shows_nothing_of_the_reference_is_asked_about() -> None:
    found = choose_offset({0: [0.02, 0.01, 0.0], 1: [0.4, 0.3, 0.2]})

    assert not found.certain
    assert "No frame of the pass shows what the reference shows" in found.reason


def test_a_pass_lit_on_two_frames_is_asked_about() -> None:
    found = choose_offset({0: [1.0, 1.0], 1: [9.0, 9.0], 2: [1.0, 1.0]})

    assert (found.offset, found.certain) == (1, False)
    assert "rests on 2 frames" in found.reason


def test_the_last_offset_that_was_tried_is_asked_about() -> None:
    found = choose_offset({0: [1.0] * 3, 1: [2.0] * 3, 2: [9.0] * 3})

    assert (found.offset, found.certain) == (2, False)
    assert "0 to 2" in found.reason


def test_frames_that_disagree_are_asked_about() -> None:
    found = choose_offset({-1: [0.0] * 3, 0: [9.0, 2.0, 2.0], 1: [1.0, 3.0, 3.0], 2: [0.0] * 3})

    assert not found.certain
    assert "1 of 3 frames only" in found.reason


def test_offsets_must_have_been_scored_on_the_same_frames() -> None:
    with pytest.raises(ValueError, match="2 offsets for \\[2, 3\\] frames"):
        choose_offset({0: [1.0, 2.0], 1: [1.0, 2.0, 3.0]})


@pytest.mark.parametrize("true", [0.0, 0.25, -0.4])
def test_a_fraction_of_a_frame_is_read_from_the_flanks(true: float) -> None:
    scores = {offset: [peak(true, offset)] for offset in range(-3, 4)}

    assert place_frames(scores)[0] == pytest.approx(true, abs=0.02)


def test_a_pass_at_another_speed_is_told() -> None:
    # Source: arithmetic; 2 % faster over 48 frames is 0.96 frame.
    frames = range(0, 49, 8)
    scores = {offset: [peak(1 + 0.02 * n, offset) for n in frames] for offset in range(-2, 6)}

    pace = find_pace(frames, scores)

    assert not pace.same_speed
    assert pace.tail - pace.head == pytest.approx(0.96, abs=0.1)
    assert "1.020 times the speed" in pace.reason


def test_a_pass_at_the_same_speed_is_left_alone() -> None:
    scores = {offset: [peak(1, offset)] * 5 for offset in range(-2, 5)}

    pace = find_pace(range(5), scores)

    assert (pace.head, pace.tail, pace.same_speed, pace.reason) == (1.0, 1.0, True, "")


def test_a_pass_that_cannot_be_placed_has_no_pace() -> None:
    pace = find_pace(range(4), {0: [9.0] * 4, 1: [1.0] * 4})

    assert not pace.same_speed
    assert "0 of 4 frames" in pace.reason


def test_a_missing_and_a_doubled_frame_are_named() -> None:
    where = [0, 0, 0, 1, 1, 1, 1, 0, 0, 0]
    scores = {offset: [peak(at, offset) for at in where] for offset in range(-2, 4)}

    assert find_breaks(range(10), scores) == (Break(3, 1, 0), Break(7, -1, 1))


def test_one_frame_that_fits_elsewhere_by_chance_is_no_break() -> None:
    where = [0, 0, 0, 1, 0, 0]
    scores = {offset: [peak(at, offset) for at in where] for offset in range(-2, 4)}

    assert find_breaks(range(6), scores) == ()
