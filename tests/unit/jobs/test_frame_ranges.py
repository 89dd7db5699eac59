import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from glimsum_jobs.frame_ranges import FrameRange, runs_of, source_number


def number(frame: int, **changes: object) -> int:
    values = {"shot_first": 1001, "first": 12, "step": 1, "skip": frozenset(), "start_offset": 0}
    return source_number(frame, **{**values, **changes})  # type: ignore[arg-type]  # built in a dict


def test_the_first_frame_is_the_first_file() -> None:
    assert number(1001) == 12


def test_every_third_file_counts_for_lamps_fired_in_turn() -> None:
    assert [number(f, step=3) for f in (1001, 1002, 1003)] == [12, 15, 18]


def test_a_pass_started_early_is_found_later() -> None:
    assert number(1001, start_offset=3) == 15
    assert number(1001, start_offset=-2) == 10


def test_a_skipped_shot_moves_everything_behind_it_on() -> None:
    numbers = [number(f, skip=frozenset({14})) for f in (1001, 1002, 1003, 1004)]
    assert numbers == [12, 13, 15, 16]


def test_a_skipped_first_shot_moves_the_whole_pass() -> None:
    assert number(1001, skip=frozenset({12, 13})) == 14


@given(
    frame=st.integers(1001, 1060),
    first=st.integers(0, 40),
    step=st.integers(1, 5),
    offset=st.integers(-5, 5),
    skip=st.frozensets(st.integers(0, 120), max_size=30),
)
def test_it_is_the_number_reached_by_counting_what_is_not_skipped(
    frame: int, first: int, step: int, offset: int, skip: frozenset[int]
) -> None:
    counted = (n for n in itertools.count(first + offset, step) if n not in skip)
    expected = next(itertools.islice(counted, frame - 1001, None))

    assert number(frame, first=first, step=step, start_offset=offset, skip=skip) == expected


def test_a_range_counts_both_ends() -> None:
    assert FrameRange(first=1001, last=1112).count == 112


def test_a_range_turned_round_is_refused_with_its_numbers() -> None:
    with pytest.raises(ValidationError, match=r"last \(1000\) must not lie before first \(1001\)"):
        FrameRange(first=1001, last=1000)


def test_numbers_are_written_as_runs() -> None:
    assert runs_of([1001, 1002, 1003, 1007, 1009, 1010]) == "1001 to 1003, 1007, 1009 to 1010"
