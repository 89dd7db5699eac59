"""What the numbers marked on lenses and shutters mean: members of a series of exact stops."""

import math

# Marks of the third-stop series from f/1 and 1 s on, one a third, as engraved or shown by
# cameras (ISO 517 and ISO 516 round them like this; common practice, read from memory).
_F_THIRDS = (
    "1 1.1 1.2 1.4 1.6 1.8 2 2.2 2.5 2.8 3.2 3.5 4 4.5 5 5.6 6.3 7.1 8 9 10 11 13 14 16 18 20 22 "
    "25 29 32 36 40 45 51 57 64 72 80 90 102 114 128"
)
_F_HALVES = "1 1.2 1.4 1.7 2 2.4 2.8 3.4 4 4.8 5.6 6.7 8 9.5 11 13 16 19 22 27 32 38 45 54 64 76 90"
_PER_SECOND_THIRDS = (
    "1 1.3 1.6 2 2.5 3 4 5 6 8 10 13 15 20 25 30 40 50 60 80 100 125 160 200 250 320 400 500 640 "
    "800 1000 1250 1600 2000 2500 3200 4000 5000 6400 8000 10000 12800 16000 20000 25600 32000"
)
_PER_SECOND_HALVES = (
    "1 1.5 2 3 4 6 8 11 15 22 30 45 60 90 125 180 250 350 500 750 1000 1500 2000 3000 4000 "
    "6000 8000"
)
_DECIMAL_SECONDS = {0.3: -5 / 3, 0.4: -4 / 3, 0.5: -1, 0.6: -2 / 3, 0.7: -1 / 2, 0.8: -1 / 3}
_LONG_SECONDS = {1.3: 1 / 3, 1.6: 2 / 3, 2.5: 4 / 3, 3.2: 5 / 3}
_OTHER_F = {3.3: 7 / 2, 81.0: 38 / 3}


def _series(marks: str, steps_a_stop: int) -> dict[float, float]:
    return {float(mark): n / steps_a_stop for n, mark in enumerate(marks.split())}


# Where a mark stands in both series (f/13, 1/3 s) the third-stop series wins: cameras of today
# are set to thirds as they come.
_APERTURES = _OTHER_F | _series(_F_HALVES, 2) | _series(_F_THIRDS, 3)
_SPEEDS = _series(_PER_SECOND_HALVES, 2) | _series(_PER_SECOND_THIRDS, 3)

_SAME_MARK = 0.004
"""Relative difference under which a number is a mark; neighbouring marks are 6 % apart or more."""

_ON_SERIES = 0.01
"""Stops under which a number is a member of a series written out in full, such as 11.314."""


def aperture_stops(f_number: float) -> tuple[float, str]:
    """Return log2 N^2 of an f-number, and a remark where it stands on no series.

    Parameters
    ----------
    f_number : float
        As marked, or as metadata give it; above 0.

    Returns
    -------
    stops : float
        APEX aperture value Av; f/11 gives 7 exactly.
    remark : str
        Empty where the number is a member of the third-stop or half-stop series.
    """
    return _resolve(2 * math.log2(f_number), _mark(f_number, _APERTURES), f"f/{f_number:g}")


def time_stops(seconds: float) -> tuple[float, str]:
    """Return log2 t of an exposure time, and a remark where it stands on no series.

    Parameters
    ----------
    seconds : float
        Above 0. Whole seconds are exact: a timer holds them, no mark rounds them.

    Returns
    -------
    stops : float
        log2 of the time in seconds; 1/125 s gives -7 exactly.
    remark : str
        Empty for whole seconds and for members of the third-stop or half-stop series.
    """
    if abs(seconds - round(seconds)) < 1e-6 and seconds > 0.5:
        return math.log2(round(seconds)), ""
    exact = math.log2(seconds)
    mark = _mark(seconds, _DECIMAL_SECONDS | _LONG_SECONDS)
    if mark is None and seconds < 1:
        speed = _mark(1 / seconds, _SPEEDS)
        mark = None if speed is None else -speed
    shown = f"1/{1 / seconds:g} s" if seconds < 0.3 else f"{seconds:g} s"
    return _resolve(exact, mark, shown)


def _mark(value: float, marks: dict[float, float]) -> float | None:
    """Return the stops of the mark that `value` is, or None."""
    nearest = min(marks, key=lambda mark: abs(math.log(value / mark)))
    return marks[nearest] if abs(value / nearest - 1) < _SAME_MARK else None


def _resolve(exact: float, mark: float | None, shown: str) -> tuple[float, str]:
    """Return the marked stops, else the nearest member of a series, else the exact value."""
    if mark is not None:
        return mark, ""
    for steps_a_stop in (3, 2):
        member = round(exact * steps_a_stop) / steps_a_stop
        if abs(exact - member) < _ON_SERIES:
            return member, ""
    return exact, f"{shown} stands on no series of marked numbers; taken exactly as given"
