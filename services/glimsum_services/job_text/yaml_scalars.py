"""What a plain word means in YAML 1.2: the core schema, nothing older."""

import math
import re
from collections.abc import Callable

# The patterns are those of YAML 1.2.2, 10.3.2 (core schema).
_NULL = re.compile(r"null|Null|NULL|~|")
_TRUE = re.compile(r"true|True|TRUE")
_FALSE = re.compile(r"false|False|FALSE")
_NO_NUMBER = re.compile(r"[-+]?\.(inf|Inf|INF)|\.(nan|NaN|NAN)")
MAX_DIGITS = 40


def plain_value(text: str) -> object:
    """Return what a plain (unquoted) scalar means in the core schema.

    Raises
    ------
    ValueError
        A number that is infinite, no number, or absurdly long.
    """
    if _NULL.fullmatch(text):
        return None
    if _TRUE.fullmatch(text) or _FALSE.fullmatch(text):
        return text[0] in "tT"
    if _NO_NUMBER.fullmatch(text):
        raise ValueError(text)
    for pattern, read in _NUMBERS:
        if pattern.fullmatch(text):
            if len(text) > MAX_DIGITS:
                raise ValueError(text)
            return read(text)
    return text


def _float(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise ValueError(text)
    return value


_NUMBERS: tuple[tuple[re.Pattern[str], Callable[[str], int | float]], ...] = (
    (re.compile(r"[-+]?[0-9]+"), int),
    (re.compile(r"0o[0-7]+"), lambda text: int(text[2:], 8)),
    (re.compile(r"0x[0-9a-fA-F]+"), lambda text: int(text[2:], 16)),
    (re.compile(r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?"), _float),
)
