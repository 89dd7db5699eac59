"""Differences in half-float steps: IEEE 754 binary16 has 10 bits behind the point.

So a step is 2^-10 in [1, 2), 2^-11 in [0.5, 1) and 2^-17 in [2^-7, 2^-6), where 0.01 lies.
"""

import numpy as np
import pytest

from bench.answers import compare


def picture(*values: float) -> np.ndarray:
    return np.asarray(values).reshape(1, -1, 1).repeat(3, axis=2)


def test_a_difference_is_told_in_steps_of_the_wanted_value() -> None:
    wanted = picture(1.5, 0.75)

    off = compare(wanted + picture(2 * 2.0**-10, 0.0), wanted)

    assert (off.largest, off.beyond) == (2.0, 0.5)
    assert compare(wanted + picture(0.0, 2 * 2.0**-11), wanted).largest == 2.0


def test_darker_than_a_hundredth_steps_do_not_shrink() -> None:
    wanted = picture(1e-5, -1e-5, 0.0)

    assert compare(wanted + 3 * 2.0**-17, wanted).largest == pytest.approx(3.0)


def test_a_tool_that_clips_is_held_against_what_it_can_store() -> None:
    wanted, clipped = picture(-0.2, 0.5, 1.7), picture(0.0, 0.5, 1.0)

    assert compare(clipped, wanted, ceiling=1.0).largest == 0.0
    assert compare(clipped, wanted).largest > 100
