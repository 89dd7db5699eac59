"""Half floats round as IEEE 754 says.

Sources: IEEE 754-2019, binary16 with roundTiesToEven: 11 significant bits, largest finite 65504,
smallest normal 2**-14, smallest subnormal 2**-24; the ties below were worked from that. numpy's
float16 (round to nearest even, tested by numpy against all 2**16 values) as second opinion.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.half import to_half


def picture(*values: float) -> NDArray[np.float32]:
    return np.array(values, dtype=np.float32).reshape(1, -1)


@pytest.mark.parametrize(
    ("value", "rounded"),
    [
        (1 + 2**-11, 1.0),  # halfway between 1 and 1 + 2**-10: down to the even one
        (1 + 3 * 2**-11, 1 + 2**-9),  # halfway: up to the even one
        (1 + 2**-11 + 2**-20, 1 + 2**-10),  # just over halfway
        (2049.0, 2048.0),
        (2051.0, 2052.0),
        (2**-25, 0.0),  # half of the smallest subnormal: to even zero
        (2**-25 * 1.0001, 2**-24),
        (3 * 2**-25, 2**-23),
        (-(1 + 2**-11), -1.0),
        (0.18, 0.1800537109375),  # 0.18 * 2**13 = 1474.56: 1475 * 2**-13
    ],
)
def test_ties_go_to_even(value: float, rounded: float) -> None:
    halves, clamped = to_half(picture(value))

    assert float(halves[0, 0]) == rounded
    assert clamped == 0


def test_beyond_the_largest_is_clamped_and_counted() -> None:
    halves, clamped = to_half(picture(65504, 65505, 1e9, -65504, -7e4, 1.0))

    assert halves[0].astype(float).tolist() == [65504, 65504, 65504, -65504, -65504, 1]
    assert clamped == 3


@given(st.lists(st.floats(-65504, 65504, width=32), min_size=1, max_size=40))
def test_every_value_in_range_is_rounded_as_numpy_rounds(values: list[float]) -> None:
    halves, clamped = to_half(picture(*values))

    np.testing.assert_array_equal(halves, picture(*values).astype(np.float16))
    assert clamped == 0


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
def test_no_light_that_is_not_finite_reaches_a_master(bad: float) -> None:
    with pytest.raises(LightError, match=r"not finite; seen: 1 of 3 samples; expected: none"):
        to_half(picture(0.1, bad, 0.2))


def test_long_and_sliced_pictures_are_rounded_whole() -> None:
    wide = np.random.default_rng(2).random((300, 500, 3), dtype=np.float32)

    halves, _ = to_half(wide[::2, ::3])

    np.testing.assert_array_equal(halves, wide[::2, ::3].astype(np.float16))
