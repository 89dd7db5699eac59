"""What a next version would cost, in lines of text."""

from collections.abc import Iterator, Mapping
from typing import Any

from glimsum_services.cli.tables import size_words
from glimsum_services.run_view import time_words


def plan_lines(plan: Mapping[str, Any]) -> Iterator[str]:
    """Give the lines of a plan, as the service answers it."""
    yield f"{plan['shot']}: the next version, made from {plan['earlier']}"
    yield from (f"  {each}" for each in plan["changes"] or ["no change"])
    for words, part in (("to combine", plan["combined"]), ("taken over", plan["reused"])):
        frames = f": {part['frames']}" if part["count"] else ""
        size = f", {size_words(part['bytes'])}" if part["bytes"] else ""
        yield f"  {words}: {part['count']} frame{'s' * (part['count'] != 1)}{frames}{size}"
    yield f"  measured anew: {_measured(plan)}"
    seconds = plan["seconds"]
    slots = f"{plan['slots']} slots are there now"
    if seconds is None:
        yield f"  time: not known; {slots}"
    else:
        yield f"  time: about {time_words(seconds)}; {slots}"
    yield from (f"  note: {each}" for each in plan["notes"])


def _measured(plan: Mapping[str, Any]) -> str:
    if plan["measured"] is None:
        return "not known"
    parts = [f"{count} {words}" for words, count in plan["measured"].items()]
    return ", ".join(parts) or "nothing"
