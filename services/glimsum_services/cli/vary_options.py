"""What a wedge varies, as it is typed: ``practicals=-1 to 1 by 0.5``, ``haze tint=-40,0,40``."""

import math
import re
from collections.abc import Sequence

from glimsum_jobs.problems import Place
from glimsum_jobs.varied import MOST_VALUES, MOST_VARIED, Varied
from glimsum_jobs.wedges import OPTION
from glimsum_services.cli.options import WrongUse

_TARGET = re.compile(
    r"\s*([a-z][a-z0-9_]{0,39})(?:#(\d{1,3}))?"
    r"(?:\s+(stops|tint)|\s+cue\s+(\d{1,7}(?:\.\d{1,3})?))?\s*=\s*(\S.*)",
    re.DOTALL,
)
_RANGE = re.compile(r"(\S+)\s+to\s+(\S+)\s+by\s+(\S+)\s*")
_EXAMPLES = (
    f"{OPTION} 'practicals=-1 to 1 by 0.5', {OPTION} haze=-1,0,out, "
    f"{OPTION} 'beauty tint=-40,0,40' or {OPTION} 'flash cue 1=-2,-1,0'"
)
_ROUNDING = 1e-9


def read_varied(texts: list[str] | None) -> list[Varied]:
    """Return what is varied.

    Raises
    ------
    WrongUse
        Nothing is varied, more than two values are, or one can't be read.
    """
    if not texts or len(texts) > MOST_VARIED:
        raise WrongUse(
            "a wedge varies one or two values",
            place=Place(field=OPTION),
            seen=str(len(texts or [])),
            expected="NAME=VALUES once or twice",
            remedy=f"Write for example {_EXAMPLES}.",
        )
    return [_varied(text) for text in texts]


def write_varied(varied: Varied) -> str:
    """Return the text that `read_varied` reads as `varied`."""
    name = varied.name if varied.number is None else f"{varied.name}#{varied.number}"
    kind = " tint" if varied.field == "tint_mired" else ""
    if varied.cue is not None:
        kind = f" cue {_written(varied.cue)}"
    values = [each if isinstance(each, str) else _written(each) for each in varied.values]
    return f"{name}{kind}={','.join(values)}"


def _written(number: float) -> str:
    """Return the shortest text that is read as this very number, whole ones without a point."""
    return repr(number).removesuffix(".0")


def _varied(text: str) -> Varied:
    found = _TARGET.fullmatch(text)
    if found is None:
        raise _wrong(text, "NAME=VALUES, NAME tint=VALUES or NAME cue NUMBER=VALUES")
    name, number, field, cue, values = found.groups()
    kind = "cue" if cue is not None else "tint_mired" if field == "tint" else "stops"
    told = {"name": name, "number": number, "field": kind, "cue": cue}
    return Varied.model_validate({**told, "values": _values(text, values)})


def _values(text: str, told: str) -> Sequence[float | str]:
    between = _RANGE.fullmatch(told)
    if between is None:
        values: Sequence[float | str] = [_value(text, part.strip()) for part in told.split(",")]
    else:
        first, last, step = (_number(text, part) for part in between.groups())
        if step <= 0 or last < first:
            raise _wrong(text, "FIRST to LAST by STEP, LAST above FIRST and STEP above 0")
        count = min(math.floor((last - first) / step + _ROUNDING) + 1, MOST_VALUES + 1)
        values = [round(first + index * step, 10) for index in range(count)]
    if len(values) > MOST_VALUES or len(set(values)) < len(values):
        raise _wrong(text, f"1 to {MOST_VALUES} different values")
    return values


def _value(text: str, told: str) -> float | str:
    return "out" if told == "out" else _number(text, told)


def _number(text: str, told: str) -> float:
    try:
        number = float(told)
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        raise _wrong(text, "numbers, or out")
    return number + 0.0  # -0 is 0


def _wrong(seen: str, expected: str) -> WrongUse:
    return WrongUse(
        "what the wedge varies can't be read",
        place=Place(field=OPTION),
        seen=seen,
        expected=expected,
        remedy=f"Write for example {_EXAMPLES}.",
    )
