"""Minutes without work, against nights laid out by hand."""

from typing import Any

import pytest

from glimsum_jobs.ledger import Control, Counts, Hours, RunRecord, RunState, Stage
from glimsum_services.report.gaps import SHORTEST_MINUTES, UNKNOWN, Working, find_gaps

NOON = 1_767_614_400.0
"""2026-01-05 12:00 UTC (`date -u -d 2026-01-05T12:00 +%s`)."""
MINUTE = 60.0


def record(begun_min: float, ended_min: float | None = None, **more: Any) -> RunRecord:
    usual: dict[str, Any] = {
        "run": "mole_040/v001",
        "state": RunState.COMBINING if ended_min is None else RunState.DONE,
        "stage": Stage.COMBINE,
        "control": Control.RUN,
        "priority": 50,
        "revision": 1,
        "counts": {Stage.COMBINE: Counts(waiting=5)},
        "begun": NOON + begun_min * MINUTE,
        "ended": None if ended_min is None else NOON + ended_min * MINUTE,
    }
    return RunRecord(**(usual | more))


def busy(*stretches: tuple[int, int]) -> set[int]:
    begin = int(NOON // 60)
    return {begin + minute for first, last in stretches for minute in range(first, last)}


def told(runs: list[Working], until_min: float, **more: Any) -> list[tuple[str, str, int, str]]:
    usual: dict[str, Any] = {"since": None, "machines": 1} | more
    gaps = find_gaps(runs, now=NOON + until_min * MINUTE, **usual)
    return [(gap.first[11:16], gap.last[11:16], gap.minutes, gap.why) for gap in gaps]


def test_a_stretch_without_work_between_work_is_a_gap_of_its_length() -> None:
    runs = [Working(record(0, 200), busy((0, 60), (120, 201)))]
    assert told(runs, 300) == [("13:00", "14:00", 60, UNKNOWN)]


def test_what_one_run_makes_is_no_gap_of_another() -> None:
    runs = [Working(record(0, 200), busy((0, 60), (180, 201))), Working(record(0), busy((55, 190)))]
    assert told(runs, 200) == []


def test_minutes_in_which_nothing_was_asked_for_are_no_gap() -> None:
    runs = [Working(record(0, 30), busy((0, 31))), Working(record(300, 330), busy((300, 331)))]
    assert told(runs, 400) == []


def test_a_short_rest_is_no_gap() -> None:
    runs = [Working(record(0, 100), busy((0, 40), (40 + SHORTEST_MINUTES, 101)))]
    assert told(runs, 100) == []
    runs = [Working(record(0, 100), busy((0, 40), (41 + SHORTEST_MINUTES, 101)))]
    assert [gap[2] for gap in told(runs, 100)] == [SHORTEST_MINUTES + 1]


def test_hours_that_were_stated_are_the_reason() -> None:
    # 12:00 is minute 720 of the day; the window is 12:00 to 13:00 and 16:00 lies outside.
    hours = Hours(window=(720, 780))
    runs = [Working(record(0, hours=hours), busy((0, 60)))]
    assert told(runs, 240) == [("13:00", "16:01", 181, "outside the hours that were stated")]
    early = Hours(not_before=NOON + 120 * MINUTE)
    runs = [Working(record(0, hours=early), busy((120, 241)))]
    assert told(runs, 240) == [("12:00", "14:00", 120, "outside the hours that were stated")]
    over_midnight = Hours(window=(1320, 360))  # 22:00 to 06:00
    runs = [Working(record(0, hours=over_midnight), busy((600, 1081)))]
    assert told(runs, 1080) == [("12:00", "22:00", 600, "outside the hours that were stated")]


@pytest.mark.parametrize(
    ("more", "machines", "why"),
    [
        ({"control": Control.PAUSE}, 1, "mole_040/v001 is paused"),
        ({"waits_for": "the disk is full"}, 1, "mole_040/v001 waits: the disk is full"),
        ({}, 0, "no machine works"),
        ({}, 1, UNKNOWN),
    ],
)
def test_a_gap_that_lasts_has_the_reason_that_lasts(
    more: dict[str, Any], machines: int, why: str
) -> None:
    runs = [Working(record(0, **more), busy((0, 60)))]
    assert told(runs, 120, machines=machines) == [("13:00", "14:01", 61, why)]


def test_an_item_in_work_now_is_no_gap_though_nothing_of_it_is_entered() -> None:
    counts = {Stage.COMBINE: Counts(waiting=5, working=1)}
    runs = [Working(record(0, counts=counts), busy((0, 60)))]
    assert told(runs, 120) == []


def test_gaps_before_the_time_that_is_asked_for_are_left_out() -> None:
    runs = [Working(record(0, 200), busy((0, 20), (60, 100), (150, 201)))]
    assert [gap[0] for gap in told(runs, 200)] == ["12:20", "13:40"]
    assert [gap[0] for gap in told(runs, 200, since=NOON + 110 * MINUTE)] == ["13:50"]
