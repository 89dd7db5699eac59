import pytest
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


def test_a_range_counts_both_ends() -> None:
    assert FrameRange(first=1001, last=1112).count == 112


def test_a_range_turned_round_is_refused_with_its_numbers() -> None:
    with pytest.raises(ValidationError, match=r"last \(1000\) must not lie before first \(1001\)"):
        FrameRange(first=1001, last=1000)


def test_numbers_are_written_as_runs() -> None:
    assert runs_of([1001, 1002, 1003, 1007, 1009, 1010]) == "1001 to 1003, 1007, 1009 to 1010"
