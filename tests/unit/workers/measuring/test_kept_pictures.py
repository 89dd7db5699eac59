"""Prepared pictures come back from what is kept of them, and both bands as each alone."""

import numpy as np

from glimsum_workers.engine.registration.bands import ACROSS_LIGHTS, GENERAL
from glimsum_workers.engine.registration.prepared import Prepared, prepare, prepare_both
from glimsum_workers.measuring.kept_pictures import as_arrays, as_prepared


def light_with_a_lamp() -> tuple[np.ndarray, np.ndarray]:
    random = np.random.default_rng(8)
    light = random.gamma(2, 0.1, (131, 203)).astype(np.float32)
    clipped = np.zeros(light.shape, dtype=np.bool_)
    clipped[30:34, 50:57] = True
    light[clipped] = 4
    return light, clipped


def assert_equal(found: Prepared, expected: Prepared) -> None:
    assert (found.size, found.noise, found.detail) == (
        expected.size,
        expected.noise,
        expected.detail,
    )
    for one, two in zip(found.levels, expected.levels, strict=True):
        assert one.factor == two.factor
        np.testing.assert_array_equal(one.band, two.band)
        assert (one.valid is None) == (two.valid is None)
        if one.valid is not None:
            assert one.valid.dtype == np.bool_
            np.testing.assert_array_equal(one.valid, two.valid)


def test_what_is_kept_gives_the_same_picture_back() -> None:
    light, clipped = light_with_a_lamp()
    for mask in (clipped, None):
        ready = prepare(light, clipped=mask)

        assert_equal(as_prepared(as_arrays(ready)), ready)


def test_both_bands_at_once_are_each_alone() -> None:
    light, clipped = light_with_a_lamp()

    both = prepare_both(light, (GENERAL, ACROSS_LIGHTS), clipped=clipped)

    for found, band in zip(both, (GENERAL, ACROSS_LIGHTS), strict=True):
        assert_equal(found, prepare(light, clipped=clipped, band=band))
