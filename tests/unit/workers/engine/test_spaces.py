"""Matrices between spaces: identities and refusals."""

import numpy as np
import pytest

from glimsum_jobs.errors import LightError
from glimsum_jobs.spaces import SPACES
from glimsum_workers.engine.spaces import luminance_weights, matrix_between

LIGHT = [name for name, space in SPACES.items() if space.kind != "data"]


@pytest.mark.parametrize("space", LIGHT)
def test_white_stays_white_and_the_way_back_undoes_it(space: str) -> None:
    there, back = matrix_between(space, "lin_ap1_scene"), matrix_between("lin_ap1_scene", space)

    np.testing.assert_allclose(there.sum(axis=1), 1, atol=1e-7)
    np.testing.assert_allclose(back @ there, np.eye(3), atol=1e-12)
    assert luminance_weights(space).sum() == pytest.approx(1, abs=1e-12)


def test_encoded_space_has_the_primaries_of_its_linear_partner() -> None:
    np.testing.assert_array_equal(
        matrix_between("srgb_rec709_scene", "lin_ap1_scene"),
        matrix_between("lin_rec709_scene", "lin_ap1_scene"),
    )
    np.testing.assert_array_equal(
        matrix_between("ocio:acescct_ap1_scene", "lin_ap1_scene"), np.eye(3)
    )


def test_changing_an_answer_does_not_change_the_next() -> None:
    matrix_between("lin_rec709_scene", "lin_ap1_scene")[...] = 0

    assert matrix_between("lin_rec709_scene", "lin_ap1_scene")[0, 0] > 0.6


def test_data_has_no_primaries() -> None:
    with pytest.raises(LightError, match="seen: data"):
        matrix_between("data", "lin_ap1_scene")
