"""The law of light: passes add.

Sources: Grassmann 1853, doi 10.1002/andp.18531650505 (mixtures add); superposition of
irradiance; APEX (ISO 2720): one stop is a factor of 2. Identities are checked by hypothesis.
"""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from glimsum_workers.engine.ambient import subtract_ambient
from glimsum_workers.engine.codes import Image, Picture
from glimsum_workers.engine.combine import combine_step, lay_ground
from glimsum_workers.engine.exposure import equalise

LIGHT = st.floats(-0.125, 64, width=32)
PICTURES = arrays.arrays(np.float32, (3, 5, 3), elements=LIGHT)
STOPS = st.floats(-8, 8)


def add(passes: list[Image], matrices: list[np.ndarray] | None = None) -> Image:
    ground = lay_ground(3, 5)
    for place, rgb in enumerate(passes):
        combine_step(ground, Picture(rgb), matrix=None if matrices is None else matrices[place])
    return ground.rgb


def close(actual: Image, expected: np.ndarray, passes: list[Image]) -> None:
    bound = sum(np.abs(each).astype(np.float64) for each in passes) * len(passes) * 2.0**-22
    assert np.all(np.abs(actual - expected) <= bound + 1e-30)


@given(st.lists(PICTURES, min_size=1, max_size=6))
def test_passes_at_no_stops_add_to_the_photograph_with_all_lamps(passes: list[Image]) -> None:
    close(add(passes), np.sum(np.array(passes, dtype=np.float64), axis=0), passes)


@given(st.lists(PICTURES, min_size=2, max_size=5), st.randoms())
def test_order_of_passes_does_not_matter(passes: list[Image], order: object) -> None:
    shuffled = list(passes)
    order.shuffle(shuffled)  # type: ignore[attr-defined]  # hypothesis gives a random.Random

    close(add(shuffled), add(passes).astype(np.float64), passes * 2)


@given(PICTURES, STOPS)
def test_stops_are_a_gain_of_two_to_their_power(rgb: Image, stops: float) -> None:
    expected = rgb.astype(np.float64) * 2.0**stops

    actual = add([rgb], [np.eye(3) * 2.0**stops])

    np.testing.assert_allclose(actual, expected, rtol=2e-7, atol=1e-37)


@given(PICTURES, st.integers(-8, 8))
def test_one_stop_more_of_exposure_and_one_less_of_gain_is_exactly_nothing(
    rgb: Image, stops: int
) -> None:
    # A power of two is exact in float32 unless the result is subnormal (IEEE 754).
    rgb = np.where(np.abs(rgb) < 1e-30, np.float32(0), rgb)
    recorded = rgb * np.float32(2.0**stops)

    np.testing.assert_array_equal(equalise(recorded, stops), rgb)


@given(PICTURES, PICTURES, STOPS)
def test_gain_of_a_sum_is_the_sum_of_gains(one: Image, two: Image, stops: float) -> None:
    gain = np.eye(3) * 2.0**stops

    apart = add([one, two], [gain, gain])

    together = add([add([one, two])], [gain])
    scaled = [each * np.float32(2.0**stops) for each in (one, two)]
    close(apart, together.astype(np.float64), scaled * 2)


@given(st.lists(PICTURES, min_size=2, max_size=5), PICTURES)
def test_ambient_in_every_pass_and_taken_from_each_leaves_the_lamps(
    lamps: list[Image], room: Image
) -> None:
    recorded = [lamp + room for lamp in lamps]

    clean = [subtract_ambient(each, room) for each in recorded]

    bound = [np.abs(lamp) + 2 * np.abs(room) for lamp in lamps]
    close(add(clean), np.sum(np.array(lamps, dtype=np.float64), axis=0), bound)


@given(arrays.arrays(np.float64, (3, 3), elements=st.floats(-2, 2)), PICTURES, PICTURES)
def test_tint_is_linear(matrix: np.ndarray, one: Image, two: Image) -> None:
    both = add([one, two], [matrix, matrix]).astype(np.float64)

    expected = (one.astype(np.float64) + two) @ matrix.T
    size = np.abs(one).sum() + np.abs(two).sum()
    assert np.all(np.abs(both - expected) <= 2.0**-20 * size * 2 + 1e-30)


def test_adding_codes_instead_of_light_would_be_1_21_stops_wrong() -> None:
    # Two lamps of 0.18: light adds to 0.36. Adding sRGB codes (IEC 61966-2-1) gives 0.833.
    grey = np.full((3, 5, 3), 0.18, dtype=np.float32)
    code = 2 * (1.055 * 0.18 ** (1 / 2.4) - 0.055)
    wrong = ((code + 0.055) / 1.055) ** 2.4

    right = float(add([grey, grey])[0, 0, 0])

    assert round(np.log2(wrong / right), 2) == 1.21
    assert np.isclose(right, 0.36, rtol=1e-6)
