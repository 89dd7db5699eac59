"""What tiles say of their displacement, against the same written with numpy's sums."""

import numpy as np
import pytest
from numpy.typing import NDArray

from glimsum_workers.engine.registration.bands import GENERAL
from glimsum_workers.engine.registration.taps import read_between
from glimsum_workers.engine.registration.tile_fit import LEAST_SIGNIFICANCE, TileFit, fit_tiles
from glimsum_workers.engine.registration.tile_sums import TileSums

Numbers = NDArray[np.float64]

_ALIKE = 3.0
"""Pixels of the band that vary together, as `tile_fit` takes them to."""


def make_sums(count: int) -> tuple[TileSums, Numbers]:
    """Return sums of tiles of which some have much in common, and a displacement of each."""
    random = np.random.default_rng(31)
    slope = random.normal(0, 8, (count, 2))
    own = np.empty((count, 6))
    own[:, 0], own[:, 1:3] = random.uniform(20, 900, count), slope
    own[:, 3], own[:, 5] = random.uniform(30, 300, (2, count))
    own[:, 4] = random.normal(0, 20, count)
    alike = np.where(random.random(count) < 0.6, random.uniform(-1.5, 1.5, count), 0)
    gain = alike[:, None, None]
    down, across = np.ogrid[-3:4, -3:4]
    shape = np.exp(-(down**2 + across**2) / 6)
    cross = gain * own[:, :1, None] * shape + random.normal(0, 3, (count, 7, 7))
    energy = gain**2 * own[:, :1, None] + random.uniform(20, 60, (count, 3, 3))
    area = random.integers(128, 257, count).astype(np.float64)
    table = np.concatenate(
        [cross.reshape(count, -1), energy.reshape(count, -1), own, area[:, None]], axis=1
    )
    offsets = random.integers(-4, 5, (count, 2)).astype(np.float64)
    sums = TileSums(random.uniform(-500, 500, (count, 2)), offsets, table)
    return sums, offsets + random.uniform(-1.2, 1.2, (count, 2))


def fit_by_numpy(sums: TileSums, displacement: Numbers) -> TileFit:
    """Do what `fit_tiles` says, in sums over all tiles at once."""
    fraction = np.clip(displacement - sums.offsets, -1.0, 1.0)
    (across, across_slope), (down, down_slope) = (read_between(fraction[:, i]) for i in (0, 1))
    both, by_x, by_y = (
        np.einsum("nij,ni,nj->n", sums.cross, one, other)
        for one, other in ((down, across), (down, across_slope), (down_slope, across))
    )
    near = [np.stack([f * (f - 1) / 2, 1 - f**2, f * (f + 1) / 2], axis=-1) for f in fraction.T]
    energy = np.einsum("nij,ni,nj->n", sums.energy, near[1], near[0])
    square, slope_x, slope_y, xx, xy, yy = sums.own.T
    gain, noise = both / square, GENERAL.noise
    left = np.maximum((energy - gain * both) / (sums.count - 3), 0.5 * noise * (1 + gain**2))
    honest = np.maximum(gain**2 - _ALIKE * left / square, 0)
    told = gain**2 * square / left > LEAST_SIGNIFICANCE
    kept = np.flatnonzero(told & (honest > 0) & (square > noise * sums.count))
    weight = honest / (_ALIKE * left)
    score = np.stack([by_x - gain * slope_x, by_y - gain * slope_y]) * weight / gain
    known = np.stack([xx - slope_x**2 / square, xy - slope_x * slope_y / square,
                      yy - slope_y**2 / square]) * weight  # fmt: skip
    return TileFit(kept, score[:, kept], known[:, kept])


@pytest.mark.parametrize("count", [1, 130, 700])
def test_tiles_say_what_their_sums_come_to(count: int) -> None:
    sums, displacement = make_sums(count)

    found, wanted = fit_tiles(sums, displacement, GENERAL), fit_by_numpy(sums, displacement)

    np.testing.assert_array_equal(found.kept, wanted.kept)
    np.testing.assert_allclose(found.score, wanted.score, rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(found.information, wanted.information, rtol=1e-9, atol=1e-9)
    if count > 1:
        assert 0.3 * count < len(found.kept) < 0.7 * count


def test_no_tiles_say_nothing() -> None:
    none = TileSums(np.zeros((0, 2)), np.zeros((0, 2)), np.zeros((0, 65)))

    found = fit_tiles(none, np.zeros((0, 2)), GENERAL)

    assert len(found.kept) == 0
    assert found.score.shape == (2, 0)
