"""Mattes joined, by Porter & Duff 1984 (in, over, out), and identities of sets."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numpy.typing import NDArray

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.mattes.joined import all_of, any_of, less, turned

Weights = NDArray[np.float32]
MATTES = arrays(np.float32, (3, 4), elements=st.floats(0, 1, width=32))


def near(one: Weights, two: NDArray[np.floating]) -> bool:
    return bool(np.abs(one - two).max() <= 2e-7)


@settings(max_examples=50, deadline=None)
@given(MATTES, MATTES)
def test_two_mattes_join_as_the_alphas_of_in_over_and_out(one: Weights, two: Weights) -> None:
    # W3C Compositing and Blending Level 1, 9.1: in ab as, over as + ab (1 - as),
    # out as (1 - ab).
    assert near(all_of([one, two]), one * two)
    assert near(any_of([one, two]), one + two * (1 - one))
    assert near(less(one, two), one * (1 - two))


@settings(max_examples=50, deadline=None)
@given(MATTES, MATTES, MATTES)
def test_what_neither_keeps_is_what_both_leave(one: Weights, two: Weights, three: Weights) -> None:
    # De Morgan 1847: not (a or b) = (not a) and (not b), and the other way round.
    every = [one, two, three]
    left = [turned(each) for each in every]

    assert near(turned(any_of(every)), all_of(left))
    assert near(turned(all_of(every)), any_of(left))
    assert near(turned(turned(one)), one)


@settings(max_examples=30, deadline=None)
@given(MATTES, MATTES)
def test_order_does_not_matter_and_weights_stay_weights(one: Weights, two: Weights) -> None:
    for join in (all_of, any_of):
        made = join([one, two])
        assert near(made, join([two, one]))
        assert made.min() >= 0
        assert made.max() <= 1
    assert (any_of([one, two]) >= np.maximum(one, two) - 2e-7).all()
    assert (all_of([one, two]) <= np.minimum(one, two) + 2e-7).all()


def test_joining_changes_none_of_its_mattes() -> None:
    one, two = np.full((2, 2), 0.5, np.float32), np.full((2, 2), 0.25, np.float32)

    all_of([one, two])
    less(one, two)

    assert (one == 0.5).all()
    assert (two == 0.25).all()


def test_mattes_of_other_sizes_are_refused() -> None:
    with pytest.raises(LightError, match=r"seen: 5 x 2 pixels; expected: 3 x 2 pixels"):
        all_of([np.ones((2, 3), np.float32), np.ones((2, 5), np.float32)])
