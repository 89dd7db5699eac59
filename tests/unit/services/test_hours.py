"""Working hours by the clock on the wall, and when that clock is set."""

from datetime import datetime

import pytest

from glimsum_jobs.errors import JobError
from glimsum_jobs.ledger import Hours
from glimsum_services.hours import follow_summer_time, hours_of, moment_of, window_of

# Clocks in Germany go back on the last Sunday of October, 2027-10-31, at 01:00 UTC, and forward
# on the last Sunday of March, 2027-03-28, at 01:00 UTC (Directive 2000/84/EC).
BERLIN = "Europe/Berlin"


def at(text: str) -> float:
    return datetime.fromisoformat(text).timestamp()


@pytest.mark.parametrize(
    ("moment", "expected"),
    [
        ("2027-01-05T12:00Z", (21 * 60, 5 * 60 - 1)),
        ("2027-07-05T12:00Z", (20 * 60, 4 * 60 - 1)),
        ("2027-10-31T00:59Z", (20 * 60, 4 * 60 - 1)),
        ("2027-10-31T01:00Z", (21 * 60, 5 * 60 - 1)),
        ("2027-03-28T00:59Z", (21 * 60, 5 * 60 - 1)),
        ("2027-03-28T01:00Z", (20 * 60, 4 * 60 - 1)),
    ],
)
def test_a_window_follows_summer_time(moment: str, expected: tuple[int, int]) -> None:
    asked = hours_of("22:00-06:00", None, BERLIN, at("2027-01-05T12:00Z"), Hours())

    assert follow_summer_time(asked, at(moment)).window == expected
    assert follow_summer_time(asked, at(moment)).wall == "22:00-06:00"


def test_a_window_may_begin_yesterday_in_utc() -> None:
    # India is 5:30 ahead all year, New York 5 hours behind in January (IANA tz database).
    assert window_of("01:00-05:00", "Asia/Kolkata", at("2027-01-05T12:00Z")) == (1170, 1409)
    assert window_of("22:00-06:00", "America/New_York", at("2027-01-05T12:00Z")) == (180, 659)


def test_a_time_of_day_is_the_next_one() -> None:
    noon = at("2027-01-05T12:00+01:00")

    assert moment_of("22:30", BERLIN, noon) == at("2027-01-05T22:30+01:00")
    assert moment_of("11:59", BERLIN, noon) == at("2027-01-06T11:59+01:00")
    assert moment_of("2027-01-07T01:00Z", BERLIN, noon) == at("2027-01-07T01:00Z")
    assert moment_of("always", BERLIN, noon) is None


def test_what_is_not_given_stays() -> None:
    before = Hours(not_before=5.0, window=(1, 2), wall="00:01-00:03")

    assert hours_of(None, "always", BERLIN, 0, before) == before.model_copy(
        update={"not_before": None}
    )
    assert hours_of("always", None, BERLIN, 0, before) == Hours(not_before=5.0)


@pytest.mark.parametrize("text", ["22-06", "24:00-06:00", "22:00-22:00", "22:00 - 06:00", "x" * 99])
def test_a_window_that_is_none_is_named(text: str) -> None:
    with pytest.raises(JobError, match=r"22:00-06:00, or always"):
        window_of(text, BERLIN, 0)


@pytest.mark.parametrize("text", ["25:00", "tomorrow", "2027-01-05T22:30", "9" * 40])
def test_a_moment_that_is_none_is_named(text: str) -> None:
    with pytest.raises(JobError, match=r"not_before.*a time of day"):
        moment_of(text, BERLIN, 0)
