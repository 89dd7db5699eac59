"""The night report in lines of text."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from glimsum_services.run_view import time_words

MOST_MATTERS = 20
"""Most matters shown of one list; --json has more."""

Part = Mapping[str, Any]


def report_lines(report: Part) -> Iterator[str]:
    """Give the lines of a report, as the service answers it."""
    totals = report["totals"]
    since = f"from {report['since']} " if report["since"] else ""
    yield f"Night report, {since}to {report['at']}"
    yield ", ".join(
        [
            f"{totals['shots']} versions",
            f"{totals['made']} of {totals['asked']} frames made",
            *_some(totals, ("reused", "set_aside", "left", "refused", "cancelled")),
        ]
    )
    yield ""
    yield "First"
    yield from _matters(report["first"], report["more_first"]) if report["first"] else ["  nothing"]
    for shot in report["shots"]:
        yield ""
        yield from _shot(shot)
    yield from _machines(report)
    if report["gaps"]:
        yield ""
        yield "Hours without work"
        for gap in report["gaps"]:
            length = time_words(gap["minutes"] * 60)
            yield f"  {gap['first']} to {gap['last']}, {length}: {gap['why']}"
    if report["notes"]:
        yield ""
        yield "What this report does not know"
        yield from (f"  - {note}" for note in report["notes"])


def _shot(shot: Part) -> Iterator[str]:
    words = [f"{shot['made']} of {shot['asked']} frames made"]
    words += _some(shot, ("reused", "set_aside", "left"))
    yield f"{shot['run']}  {shot['state']}: {', '.join(words)}"
    yield from (f"  changed: {each}" for each in shot["changes"])
    yield from _matters([*shot["matters"], *shot["remarks"]], shot["more"], named=False)
    if shot.get("flashes"):
        yield f"  flashes: {shot['flashes']}"
    seconds = shot["frame_seconds"]
    if seconds:
        slow = ", ".join(f"{each['frame']} ({each['seconds']:g} s)" for each in shot["slowest"])
        yield (
            f"  a frame took {seconds['median']:g} s (median), {seconds['p95']:g} s (19 of 20); "
            f"slowest: {slow}"
        )
    made = ", ".join(f"{each['host']} {each['frames']}" for each in shot["machines"])
    if made:
        yield f"  made by: {made}"
    again = _some(shot, ("came_back", "made_again"))
    if again:
        yield f"  {', '.join(again)}"
    figures = [f"{e['name'].replace('_', ' ')} {e['value']:.3g} ({e['frame']})"
               for e in shot["extremes"]]  # fmt: skip
    if figures:
        yield f"  largest: {', '.join(figures)}"


def _machines(report: Part) -> Iterator[str]:
    if report["machines"] or report["shares"]:
        yield ""
        yield "Machines"
    for each in report["machines"]:
        state = f"silent since {each['heard']}" if each["silent"] else "at work"
        yield f"  {each['host']}, {each['slots']} slots: {state}"
    for each in report["shares"]:
        yield f"  {each['host']} made {each['frames']} frames, {each['hours']:.2f} hours of slots"


def _matters(matters: Sequence[Part], more: int, *, named: bool = True) -> Iterator[str]:
    for each in matters[:MOST_MATTERS]:
        about = [
            *([each["run"]] if named and each["run"] else []),
            *([f"pass {each['pass_name']}"] if each["pass_name"] else []),
            *([f"frames {each['frames']}"] if each["frames"] else []),
        ]
        yield f"  - {each['kind']}: {', '.join(about)}{': ' if about else ''}{each['what']}"
        for name in ("seen", "expected", "remedy"):
            if each[name]:
                yield f"      {name + ':':<10}{each[name]}"
    rest = more + max(0, len(matters) - MOST_MATTERS)
    if rest:
        yield f"  - {rest} more; --json has them"


def _some(part: Part, names: Sequence[str]) -> list[str]:
    return [f"{part[name]} {name.replace('_', ' ')}" for name in names if part[name]]
