"""Grain of inserts: as much as the plate has, held against the variance it is to have."""

import numpy as np
import pytest

from glimsum_workers.engine.codes import Picture
from glimsum_workers.engine.inserts.grain import Grain, add_grain, plate_grain, read_grain
from glimsum_workers.engine.registration.noise import Noise

PLATE = Grain((Noise(2e-4, 3e-3), Noise(1e-4, 2e-3), Noise(4e-4, 5e-3)))


def even(light: float, alpha: float = 1.0, side: int = 300) -> Picture:
    """Return an even insert, premultiplied."""
    rgb = np.full((side, side, 3), light * alpha, np.float32)
    return Picture(rgb, np.full((side, side), alpha, np.float32))


@pytest.mark.parametrize("light", [0.0, 0.02, 0.5, 3.0])
def test_variance_is_linear_in_the_light_as_emva_1288_has_it(light: float) -> None:
    grained = add_grain(even(light), PLATE, 1.0, [7])

    for channel, noise in enumerate(PLATE.channels):
        values = grained.rgb[..., channel].astype(np.float64)
        wanted = np.sqrt(noise.read**2 + noise.gain * light)
        assert values.std() == pytest.approx(wanted, rel=0.02)
        assert values.mean() == pytest.approx(light, abs=4 * wanted / 300)


def test_what_was_put_on_is_read_again() -> None:
    y, x = np.mgrid[:400, :600] / 600
    slope = (0.02 + 0.9 * x + 0.05 * y).astype(np.float32)
    plate = add_grain(Picture(np.repeat(slope[..., None], 3, axis=2)), PLATE, 1.0, [3])

    read = read_grain(plate.rgb)

    for found, told in zip(read.channels, PLATE.channels, strict=True):
        for light in (0.05, 0.5):
            ours, theirs = (np.sqrt(n.read**2 + n.gain * light) for n in (found, told))
            assert ours == pytest.approx(theirs, rel=0.28)


def test_half_covered_is_half_the_grain_and_uncovered_none() -> None:
    half = add_grain(even(0.5, alpha=0.5), PLATE, 1.0, [1])
    whole = add_grain(even(0.5), PLATE, 1.0, [1])

    np.testing.assert_allclose(half.rgb - 0.25, (whole.rgb - 0.5) / 2, atol=1e-6)
    bare = add_grain(even(0.0, alpha=0.0), PLATE, 1.0, [1])
    assert not bare.rgb.any()


def test_the_amount_scales_it_and_0_is_none() -> None:
    picture = even(0.5)
    once, twice = (add_grain(picture, PLATE, amount, [5]) for amount in (1.0, 2.0))

    assert add_grain(picture, PLATE, 0.0, [5]) is picture
    np.testing.assert_allclose(twice.rgb - 0.5, 2 * (once.rgb - 0.5), atol=1e-6)


def test_the_same_numbers_give_the_same_grain_and_others_another() -> None:
    one, again, other = (add_grain(even(0.5), PLATE, 1.0, [seed]).rgb for seed in (1, 1, 2))

    assert np.array_equal(one, again)
    both = [each.ravel() - each.mean() for each in (one, other)]
    correlation = float(np.mean(both[0] * both[1]) / (both[0].std() * both[1].std()))
    assert abs(correlation) < 0.02


def test_noise_of_passes_laid_before_adds_by_variance() -> None:
    made = plate_grain(PLATE, [(PLATE, 2.0), (PLATE, 0.5)])

    red = made.channels[0]
    assert red.gain == PLATE.channels[0].gain
    assert red.read == pytest.approx(3e-3 * np.sqrt(1 + 4 + 0.25))
