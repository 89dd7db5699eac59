"""Frames a second of processes side by side: worked out by hand."""

import pytest

from bench.rates import frames_a_second, gain_kept


def test_the_first_frame_of_a_worker_and_what_follows_the_first_to_end_do_not_count() -> None:
    # One warms up until 5 s and ends at 9, the other until 2 and ends at 20: 5 to 9 counts, with
    # two frames of the one, and of the other's frame from 2 to 6 a quarter and from 6 to 10 three.
    spans = {
        "one": [(0.0, 5.0), (5.0, 7.0), (7.0, 9.0)],
        "other": [(0.0, 2.0), (2.0, 6.0), (6.0, 10.0), (10.0, 20.0)],
    }

    assert frames_a_second(spans) == pytest.approx((2 + 0.25 + 0.75) / 4)


def test_time_between_frames_counts() -> None:
    busy = {"one": [(0.0, 1.0), (1.0, 2.0), (2.0, 3.0)]}
    waiting = {"one": [(0.0, 1.0), (2.0, 3.0), (4.0, 5.0)]}

    assert frames_a_second(busy) == 1.0
    assert frames_a_second(waiting) == 0.5


def test_a_worker_with_one_frame_gives_no_rate() -> None:
    with pytest.raises(ValueError, match=r"two frames or more: \{'one': 2, 'other': 1\}"):
        frames_a_second({"one": [(0.0, 1.0), (1.0, 2.0)], "other": [(0.0, 1.0)]})


def test_workers_that_never_worked_together_give_no_rate() -> None:
    spans = {"one": [(0.0, 1.0), (1.0, 2.0)], "other": [(2.0, 3.0), (3.0, 4.0)]}

    with pytest.raises(ValueError, match=r"never at work together: 3\.000 to 2\.000 s"):
        frames_a_second(spans)


def test_what_is_kept_of_a_gain_is_a_ratio_of_ratios() -> None:
    assert gain_kept((2.0, 3.6), (2.5, 5.0)) == pytest.approx(0.9)
