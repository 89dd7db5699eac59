"""The information that two pictures share, against its closed form."""

import numpy as np
import pytest
from numpy.typing import NDArray

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.motion import STILL, Motion
from glimsum_workers.engine.registration.noise import Noise
from glimsum_workers.engine.registration.prepared import Level, Prepared, prepare
from glimsum_workers.engine.sync.information import mutual_information

SIZE = (170, 234)


def band(plane: NDArray[np.float64]) -> Prepared:
    """Return a picture whose only level holds the plane as it is."""
    return Prepared(SIZE, (Level(plane.astype(np.float16), None, 1),), Noise(1.0, 1.0))


def shared(one: NDArray[np.float64], other: NDArray[np.float64]) -> float:
    return mutual_information(band(one), band(other), STILL)


def correlated(rho: float, seed: int = 1) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    rng = np.random.default_rng(seed)
    one, other = rng.normal(size=(2, *SIZE)) * 20
    return one, rho * one + np.sqrt(1 - rho**2) * other


@pytest.mark.parametrize("rho", [0.5, 0.8, -0.8, 0.95])
def test_it_is_that_of_jointly_gaussian_pictures(rho: float) -> None:
    # Source: Cover & Thomas 2006, example 8.5.1 (from memory): -1/2 ln(1 - rho^2) nats a sample;
    # a tile of 256 pixels counts as 256 / 3 samples, less half a nat of chance.
    told = shared(*correlated(rho))

    expected = -256 / 3 / 2 * np.log(1 - rho**2) - 0.5
    assert told == pytest.approx(expected, rel=0.03, abs=0.2)


def test_unrelated_pictures_share_nothing() -> None:
    assert abs(shared(*correlated(0.0))) < 0.5


def test_light_that_turns_contrast_round_from_place_to_place_costs_nothing() -> None:
    one, other = correlated(0.9)
    signs = np.where(np.arange(SIZE[1]) // 16 % 2, -3.0, 0.2)

    # Tiles begin at column 5 of 234, (234 - 14 * 16) / 2.
    turned = shared(one, other * np.roll(signs, 5))

    assert turned == pytest.approx(shared(one, other), rel=0.02)


def test_it_is_largest_where_the_pictures_lie_on_each_other() -> None:
    rng = np.random.default_rng(2)
    wide = rng.uniform(0.05, 0.5, (SIZE[0] + 40, SIZE[1] + 40))
    for _ in range(3):
        wide = (
            wide + np.roll(wide, 1, 0) + np.roll(wide, 1, 1) + np.roll(wide, (1, 1), (0, 1))
        ) / 4
    still = prepare(wide[20:-20, 20:-20].astype(np.float32))
    moved = prepare(wide[17:-23, 22:-18].astype(np.float32))

    told = {
        shift: mutual_information(still, moved, Motion(*shift))
        for shift in [(-2.0, 3.0), (-1.0, 3.0), (-2.0, 2.0), (0.0, 0.0)]
    }

    assert max(told, key=lambda shift: told[shift]) == (-2.0, 3.0)
    assert told[0.0, 0.0] < 0.5 * told[-2.0, 3.0]


def test_no_shared_part_of_the_picture_is_no_information() -> None:
    one, other = (band(each) for each in correlated(0.9))

    assert mutual_information(one, other, Motion(1000.0, 0.0)) == 0.0


def test_pictures_of_different_size_are_refused() -> None:
    one = band(correlated(0.9)[0])
    other = prepare(np.full((64, 80), 0.2, dtype=np.float32))

    with pytest.raises(LightError, match=r"80 x 64 pixels.*234 x 170"):
        mutual_information(one, other, STILL)
