"""Numbers along the axes of a plot: few, round, and as exact as their distance needs."""

import math


def round_steps(low: float, high: float, most: int) -> list[float]:
    """Return round numbers from `low` to `high`, equally far apart.

    Parameters
    ----------
    low, high : float
        Ends, in any unit; `high` above `low`.
    most : int
        At most this many, from 2.

    Returns
    -------
    list of float
        Multiples of 1, 2 or 5 times a power of ten, rising; the smallest distance that gives at
        most `most` of them.

    Raises
    ------
    ValueError
        The ends are not finite or not in order, or `most` is below 2.
    """
    if not (math.isfinite(low) and math.isfinite(high) and low < high) or most < 2:
        raise ValueError(f"no steps from {low} to {high}, {most} at most")
    power = math.floor(math.log10((high - low) / most)) - 1
    while True:
        for digit in (1, 2, 5):
            step = digit * 10.0**power
            first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
            if last - first + 1 <= most:
                return [_tidy(number * digit, power) for number in range(first, last + 1)]
        power += 1


def places_of(steps: list[float]) -> int:
    """Return how many decimal places tell the steps apart."""
    if len(steps) < 2:
        return 2
    return max(0, -math.floor(math.log10(steps[1] - steps[0]) + 1e-9))


def _tidy(number: int, power: int) -> float:
    return float(number * 10**power) if power >= 0 else number / float(10**-power)
