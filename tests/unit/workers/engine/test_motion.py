"""Motions: what they do to a point, how they are joined and undone.

The convention is the one of the harbour data (``drift_convention`` in its truth file), computed
here by hand.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from glimsum_workers.engine.motion import STILL, Affine, Motion
from support.harbour_motion import Drift

SIZE = (540, 960)
POINTS = np.array([[480.0, 270.0], [0.5, 0.5], [959.5, 539.5], [33.0, 500.25]])
shifts = st.floats(-30, 30)
motions = st.builds(Motion, shifts, shifts, st.floats(-3, 3), st.floats(0.9, 1.1))


def test_still_moves_nothing() -> None:
    np.testing.assert_array_equal(STILL.at(POINTS, SIZE), POINTS)


def test_rotation_is_positive_from_x_to_y_about_the_centre() -> None:
    right_of_centre = np.array([[490.0, 270.0]])

    moved = Motion(1.0, 2.0, 90.0, 2.0).at(right_of_centre, SIZE)

    np.testing.assert_allclose(moved, [[481.0, 292.0]], atol=1e-12)


@given(motions)
def test_a_motion_is_the_drift_of_the_harbour(motion: Motion) -> None:
    drift = Drift(motion.dx, motion.dy, motion.rotation_deg, motion.scale)

    np.testing.assert_allclose(
        motion.at(POINTS, SIZE), drift.apply(POINTS, SIZE[1], SIZE[0]), atol=1e-9
    )


@given(motions, motions)
def test_after_is_one_then_the_other(first: Motion, second: Motion) -> None:
    expected = second.at(first.at(POINTS, SIZE), SIZE)

    pairs: list[tuple[Motion | Affine, Motion | Affine]] = [
        (first, second),
        (first.as_affine(), second),
        (first, second.as_affine()),
        (first.as_affine(), second.as_affine()),
    ]
    for one, two in pairs:
        np.testing.assert_allclose(two.after(one).at(POINTS, SIZE), expected, atol=1e-9)


@given(motions)
def test_inverse_undoes(motion: Motion) -> None:
    for each in (motion, motion.as_affine()):
        back = each.inverse().at(each.at(POINTS, SIZE), SIZE)
        np.testing.assert_allclose(back, POINTS, atol=1e-8)


def test_a_flat_map_has_no_inverse() -> None:
    with pytest.raises(ValueError, match="folds the picture flat"):
        Affine(0, 0, ((1.0, 2.0), (2.0, 4.0))).inverse()
