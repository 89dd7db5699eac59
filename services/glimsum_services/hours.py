"""Working hours by the clock on the wall, told to the ledger in UTC."""

import re
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from glimsum_jobs.errors import JobError
from glimsum_jobs.ledger import Hours
from glimsum_jobs.problems import Place, Problem, Rank

_WINDOW = re.compile(r"([01]\d|2[0-3]):([0-5]\d)-([01]\d|2[0-3]):([0-5]\d)")
_CLOCK = re.compile(r"([01]?\d|2[0-3]):([0-5]\d)")
ALWAYS = "always"


def hours_of(
    wall: str | None, not_before: str | None, zone: str, now_s: float, before: Hours
) -> Hours:
    """Return the hours of `before` with what is given changed.

    Parameters
    ----------
    wall : str or None
        ``22:00-06:00`` by the clock of `zone`, ``always`` for no window, None for no change.
    not_before : str or None
        RFC 3339 time, or ``HH:MM`` for the next such time by the clock of `zone`; ``always`` for
        at once, None for no change.
    zone : str
        IANA name of a time zone.
    now_s : float
        Seconds since 1970 UTC.
    before : Hours
        The hours until now.

    Raises
    ------
    JobError
        A text is neither; it is named.
    """
    changes: dict[str, object] = {}
    if not_before is not None:
        changes["not_before"] = moment_of(not_before, zone, now_s)
    if wall == ALWAYS:
        changes |= {"wall": "", "window": None}
    elif wall is not None:
        changes |= {"wall": wall, "zone": zone, "window": window_of(wall, zone, now_s)}
    return before.model_copy(update=changes)


def follow_summer_time(hours: Hours, now_s: float) -> Hours:
    """Return the same hours with the window where the wall's clock has it at `now_s`."""
    if not hours.wall:
        return hours
    return hours.model_copy(update={"window": window_of(hours.wall, hours.zone, now_s)})


def window_of(wall: str, zone: str, now_s: float) -> tuple[int, int]:
    """Return the first and last minute of the day in UTC, by the offset that holds at `now_s`."""
    found = _WINDOW.fullmatch(wall)
    if found is None or found[1] + found[2] == found[3] + found[4]:
        raise _wrong("window", wall, "two times of day, as 22:00-06:00, or always")
    hour, minute, last_hour, last_minute = (int(part) for part in found.groups())
    offset = datetime.fromtimestamp(now_s, ZoneInfo(zone)).utcoffset() or timedelta()
    shift = round(offset.total_seconds() / 60)
    first = (hour * 60 + minute - shift) % 1440
    last = (last_hour * 60 + last_minute - 1 - shift) % 1440
    return first, last


def moment_of(text: str, zone: str, now_s: float) -> float | None:
    """Return seconds since 1970 UTC of a moment; None for ``always``."""
    if text == ALWAYS:
        return None
    if clock := _CLOCK.fullmatch(text):
        here = ZoneInfo(zone)
        today = datetime.fromtimestamp(now_s, here)
        for days in (0, 1, 2):
            day = today.date() + timedelta(days=days)
            then = datetime(day.year, day.month, day.day, int(clock[1]), int(clock[2]), tzinfo=here)
            if then.astimezone(UTC).timestamp() > now_s:
                return then.astimezone(UTC).timestamp()
    try:
        moment = datetime.fromisoformat(text)
        if moment.tzinfo is not None:
            return moment.timestamp()
    except (ValueError, OverflowError):
        pass
    expected = "a time of day, as 22:30, or a moment with its offset, as 2027-01-05T22:30+01:00"
    raise _wrong("not_before", text, f"{expected}, or always")


def _wrong(field: str, seen: str, expected: str) -> JobError:
    problem = Problem(
        rank=Rank.STOPS_SHOT,
        what=f"{field} can't be read",
        place=Place(field=field),
        seen=seen[:80],
        expected=expected,
        remedy="Write it in one of these forms.",
    )
    return JobError("the hours can't be used", [problem])
