"""`glimsum report` and its words."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from glimsum_services.cli.options import WrongUse
from glimsum_services.cli.report_words import report_lines
from glimsum_services.cli.reporting import read_since

MATTER: dict[str, Any] = {
    "kind": "set aside",
    "run": "mole_040/v001",
    "what": "haze.0006.png is cut off",
    "pass_name": "haze",
    "frames": "1006 to 1008",
    "count": 3,
    "seen": "3 kB",
    "expected": "9 kB",
    "remedy": "Copy it again, then: glimsum retry mole_040/v001",
}
SHOT: dict[str, Any] = {
    "run": "mole_040/v001",
    "state": "done with remarks",
    "asked": 12,
    "made": 9,
    "reused": 0,
    "set_aside": 3,
    "left": 0,
    "changes": ["practicals -0.5 stops (was 0)"],
    "matters": [MATTER],
    "remarks": [],
    "more": 2,
    "came_back": 1,
    "made_again": 0,
    "machines": [{"host": "attic", "frames": 9, "hours": 0.5}],
    "frame_seconds": {"median": 4.0, "p95": 6.0, "longest": 6.5},
    "slowest": [{"frame": 1005, "seconds": 6.5, "host": "attic"}],
    "extremes": [{"name": "clipped", "frame": 1005, "value": 0.0123}],
}
REPORT: dict[str, Any] = {
    "at": "2026-01-06T08:00:00Z",
    "since": "2026-01-05T22:00:00Z",
    "totals": {
        "shots": 1, "asked": 12, "made": 9, "reused": 0, "set_aside": 3, "left": 0, "refused": 0,
        "cancelled": 0,
    },
    "first": [MATTER],
    "more_first": 2,
    "shots": [SHOT],
    "machines": [{"host": "attic", "slots": 4, "silent": True, "heard": "2026-01-06T03:00:00Z"}],
    "shares": [{"host": "attic", "frames": 9, "hours": 0.5}],
    "gaps": [
        {"first": "2026-01-06T03:00:00Z", "last": "2026-01-06T05:00:00Z", "minutes": 120,
         "why": "no machine works"}
    ],
    "notes": ["out is not there"],
}  # fmt: skip


def test_the_report_reads_from_trouble_to_figures() -> None:
    assert list(report_lines(REPORT)) == [
        "Night report, from 2026-01-05T22:00:00Z to 2026-01-06T08:00:00Z",
        "1 versions, 9 of 12 frames made, 3 set aside",
        "",
        "First",
        "  - set aside: mole_040/v001, pass haze, frames 1006 to 1008: haze.0006.png is cut off",
        "      seen:     3 kB",
        "      expected: 9 kB",
        "      remedy:   Copy it again, then: glimsum retry mole_040/v001",
        "  - 2 more; --json has them",
        "",
        "mole_040/v001  done with remarks: 9 of 12 frames made, 3 set aside",
        "  changed: practicals -0.5 stops (was 0)",
        "  - set aside: pass haze, frames 1006 to 1008: haze.0006.png is cut off",
        "      seen:     3 kB",
        "      expected: 9 kB",
        "      remedy:   Copy it again, then: glimsum retry mole_040/v001",
        "  - 2 more; --json has them",
        "  a frame took 4 s (median), 6 s (19 of 20); slowest: 1005 (6.5 s)",
        "  made by: attic 9",
        "  1 came back",
        "  largest: clipped 0.0123 (1005)",
        "",
        "Machines",
        "  attic, 4 slots: silent since 2026-01-06T03:00:00Z",
        "  attic made 9 frames, 0.50 hours of slots",
        "",
        "Hours without work",
        "  2026-01-06T03:00:00Z to 2026-01-06T05:00:00Z, 2 h 0 min: no machine works",
        "",
        "What this report does not know",
        "  - out is not there",
    ]


@pytest.mark.parametrize(
    ("text", "ago"),
    [("90m", timedelta(minutes=90)), ("12h", timedelta(hours=12)), ("3d", timedelta(days=3))],
)
def test_a_time_ago_is_read(text: str, ago: timedelta) -> None:
    assert abs(read_since(text) - (datetime.now(UTC) - ago)) < timedelta(seconds=5)


def test_a_time_with_its_offset_is_read() -> None:
    assert read_since("2026-01-05T23:00+01:00") == datetime(2026, 1, 5, 22, tzinfo=UTC)


@pytest.mark.parametrize("text", ["", "yesterday", "12", "2026-01-05T22:00", "999999h", "-3h"])
def test_what_is_no_time_is_refused_with_an_example(text: str) -> None:
    with pytest.raises(WrongUse, match=r"this is no time.*12h, 3d") as caught:
        read_since(text)
    assert caught.value.seen == text
