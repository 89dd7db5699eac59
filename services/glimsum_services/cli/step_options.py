"""Changes to steps as they are typed: ``practicals#2=-0.5``, ``flash=3,frame=1041``."""

import re
from typing import Any

from glimsum_jobs.frame_ranges import FrameRange
from glimsum_jobs.problems import Place
from glimsum_jobs.step_changes import StepChange
from glimsum_services.cli.options import WrongUse

_TARGET = re.compile(r"([a-z][a-z0-9_]{0,39})(?:#(\d{1,3}))?=(.+)", re.DOTALL)
_KEY = re.compile(r"\s*(\d{1,7})\s*:\s*(\S+)\s*")
_FRAMES = re.compile(r"\s*(\d{1,7})\s*(?:-\s*(\d{1,7})\s*)?")
_CUE_FIELDS: dict[str, type[int] | type[float]] = {
    "frame": int,
    "stops": float,
    "up": int,
    "down": int,
    "source": int,
}


def read_step_changes(
    stops: list[str] | None, tints: list[str] | None, cues: list[str] | None
) -> list[StepChange]:
    """Return the changes the options state.

    Raises
    ------
    WrongUse
        One can't be read.
    """
    return [
        *(_stops(text) for text in stops or ()),
        *(_tint(text) for text in tints or ()),
        *(_cue(text) for text in cues or ()),
    ]


def read_frames(text: str | None) -> FrameRange | None:
    """Return the frames ``1003-1010`` or ``1003`` mean; None for all.

    Raises
    ------
    WrongUse
        It means none.
    """
    if text is None:
        return None
    found = _FRAMES.fullmatch(text)
    first = int(found[1]) if found else 0
    last = int(found[2] or found[1]) if found else -1
    if found is None or last < first:
        raise _wrong("--frames", text, "FIRST-LAST, or one frame", "--frames 1003-1010")
    return FrameRange(first=first, last=last)


def _stops(text: str) -> StepChange:
    option = "--stops"
    name, number, told = _target(option, text, "practicals=-0.5")
    expected = "a number of stops, out, or keyframes FRAME:STOPS,FRAME:STOPS"
    example = f"{option} {name}=-0.5, {option} {name}=out or {option} {name}=1003:out,1006:1"
    if ":" not in told:
        value: Any = _level(option, told, expected, example)
    else:
        value = []
        for part in told.split(","):
            key = _KEY.fullmatch(part)
            if key is None:
                raise _wrong(option, text, expected, example)
            level = _level(option, key[2], expected, example)
            value.append({"frame": int(key[1]), "value": level})
    return StepChange(option=option, name=name, number=number, field="stops", value=value)


def _tint(text: str) -> StepChange:
    option = "--tint"
    name, number, told = _target(option, text, "practicals=20")
    mired = _number(option, told, "a number of mired, + is warmer", f"{option} {name}=20")
    return StepChange(option=option, name=name, number=number, field="tint_mired", value=mired)


def _cue(text: str) -> StepChange:
    option = "--cue"
    expected = "NAME=CUE and what changes: frame, stops, up, down, source; or remove"
    example = f"{option} flash=3,frame=1041,stops=-1,up=1,down=4 or {option} flash=3,remove"
    name, number, told = _target(option, text, "flash=3,frame=1041")
    cue, *parts = [part.strip() for part in told.split(",")]
    value: dict[str, Any] = {"cue": _number(option, cue, expected, example)}
    for part in parts:
        field, equals, level = part.partition("=")
        if part == "remove" and len(parts) == 1:
            value["remove"] = True
        elif equals and field in _CUE_FIELDS and field not in value:
            value[field] = _cue_value(field, level, text, expected, example)
        else:
            raise _wrong(option, text, expected, example)
    if len(value) == 1:
        raise _wrong(option, text, expected, example)
    return StepChange(option=option, name=name, number=number, field="cues", value=value)


def _cue_value(field: str, text: str, whole: str, expected: str, example: str) -> float | int:
    try:
        return _CUE_FIELDS[field](text)
    except ValueError:
        raise _wrong("--cue", whole, expected, example) from None


def _target(option: str, text: str, example: str) -> tuple[str, int | None, str]:
    found = _TARGET.fullmatch(text.strip())
    if found is None:
        expected = "NAME=VALUE, or NAME#2=VALUE for the second step of that name"
        raise _wrong(option, text, expected, f"{option} {example}")
    return found[1], None if found[2] is None else int(found[2]), found[3].strip()


def _level(option: str, text: str, expected: str, example: str) -> float | str:
    return "out" if text == "out" else _number(option, text, expected, example)


def _number(option: str, text: str, expected: str, example: str) -> float:
    try:
        number = float(text)
    except ValueError:
        number = float("nan")
    if not abs(number) < float("inf"):
        raise _wrong(option, text, expected, example)
    return number


def _wrong(option: str, seen: str, expected: str, example: str) -> WrongUse:
    return WrongUse(
        "a change can't be read",
        place=Place(field=option),
        seen=seen,
        expected=expected,
        remedy=f"Write for example {example}.",
    )
