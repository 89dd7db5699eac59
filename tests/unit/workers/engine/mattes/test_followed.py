"""Outlines carried by homographies, against scikit-image's projective transform."""

import numpy as np
import pytest
from skimage.transform import ProjectiveTransform

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.mattes.followed import anchored, carry

SQUARE = np.array([[10.0, 10], [50, 12], [48, 40], [9, 38]])
TILTED = (1.02, 0.03, 4.0, -0.02, 0.98, -2.5, 1e-4, -2e-4, 1.0)


def test_corners_go_where_a_projective_transform_takes_them() -> None:
    rows = np.array(TILTED).reshape(3, 3)
    theirs = ProjectiveTransform(rows)  # type: ignore[no-untyped-call]  # it carries no types

    np.testing.assert_allclose(carry(SQUARE, TILTED), theirs(SQUARE), atol=1e-9)
    np.testing.assert_allclose(carry(SQUARE, TILTED, back=True), theirs.inverse(SQUARE), atol=1e-9)


def test_there_and_back_is_where_it_was() -> None:
    there = carry(SQUARE, TILTED)

    np.testing.assert_allclose(anchored({7: there}, {7: TILTED})[7], SQUARE, atol=1e-9)


def test_what_can_not_be_carried_is_refused() -> None:
    with pytest.raises(LightError, match=r"seen: frame 3; expected: one of the 1 frames"):
        anchored({3: SQUARE}, {7: TILTED})
    with pytest.raises(LightError, match="matrix with an inverse"):
        carry(SQUARE, (1, 0, 0, 1, 0, 0, 0, 0, 1), back=True)
    with pytest.raises(LightError, match="out of sight"):
        carry(SQUARE, (1, 0, 0, 0, 1, 0, -0.05, 0, 1))
