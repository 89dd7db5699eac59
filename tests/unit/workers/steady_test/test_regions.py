"""Tiles are made up here: their displacement and scatter are known."""

import numpy as np
import pytest
from numpy.typing import NDArray

from glimsum_workers.engine.motion import Points
from glimsum_workers.steady_test.regions import gather_tiles, lay_grid, sum_up

SIZE = (540, 960)


def tiles(
    seed: int, scatter: float = 0.2, weight: float = 1.0, size: tuple[int, int] = SIZE
) -> NDArray[np.float32]:
    """Tiles 16 pixels apart: the upper half displaced by +0.1 across, the lower by -0.1 down."""
    height, width = size
    y, x = np.mgrid[8:height:16, 8:width:16]
    rows = np.stack([x.ravel(), y.ravel()], axis=1).astype(np.float64)
    upper = rows[:, 1] < height / 2
    left = np.where(upper[:, None], [[0.1, 0.0]], [[0.0, -0.1]])
    left = left + np.random.default_rng(seed).normal(0, scatter, left.shape)
    weights = np.full((len(rows), 1), weight)
    return np.concatenate([rows, left, weights], axis=1).astype(np.float32)


def nothing(places: Points) -> Points:
    return np.zeros_like(places)


def test_regions_are_about_square_and_cover_the_picture() -> None:
    assert [
        (grid.rows, grid.columns)
        for grid in map(lay_grid, [(540, 960), (2160, 3840), (40, 60), (90, 200), (1200, 100)])
    ] == [(7, 12), (7, 12), (1, 1), (2, 4), (24, 2)]
    assert lay_grid(SIZE).centre(0, 0) == pytest.approx((40, 540 / 14))
    assert lay_grid(SIZE).centre(6, 11) == pytest.approx((920, 540 * 13 / 14))


def test_the_displacement_of_each_region_is_found_and_its_sigma_is_honest() -> None:
    grid = lay_grid(SIZE)
    left = sum_up(grid, {1: gather_tiles(tiles(1), grid)}, {1: nothing})
    assert left is not None
    assert len(left.regions) == grid.rows * grid.columns
    off = []
    for region in left.regions:
        if region.row != 3:  # the middle row holds both halves
            wanted = (0.1, 0.0) if region.row < 3 else (0.0, -0.1)
            off += [(region.dx - wanted[0]) / region.sigma_px]
            off += [(region.dy - wanted[1]) / region.sigma_px]
    assert np.std(off) == pytest.approx(1.0, abs=0.2)
    assert left.sigma_px == pytest.approx(0.2 / np.sqrt(24), rel=0.15)  # 24 tiles a region


def test_what_was_found_and_not_taken_out_is_left_as_well() -> None:
    grid = lay_grid(SIZE)

    def zoom(places: Points) -> Points:
        return (places - [480, 270]) * 1e-3

    left = sum_up(grid, {1: gather_tiles(tiles(1, scatter=1e-3), grid)}, {1: zoom})
    assert left is not None
    corner = left.regions[0]
    assert (corner.dx, corner.dy) == pytest.approx((0.1 - 0.44, -0.232), abs=0.005)


def test_many_frames_do_not_make_the_sigma_smaller() -> None:
    grid = lay_grid(SIZE)
    one = sum_up(grid, {1: gather_tiles(tiles(1), grid)}, {1: nothing})
    many = sum_up(
        grid,
        {n: gather_tiles(tiles(n), grid) for n in range(20)},
        dict.fromkeys(range(20), nothing),
    )
    assert one is not None
    assert many is not None
    assert many.frames == 20
    assert many.sigma_px == pytest.approx(one.sigma_px, rel=0.1)
    upper = many.regions[0]
    assert upper.p50_px < upper.p95_px
    assert (upper.dx, upper.dy) == pytest.approx((0.1, 0.0), abs=0.03)


def test_a_region_that_too_few_tiles_tell_of_or_that_scatters_tells_nothing() -> None:
    grid = lay_grid(SIZE)
    few = tiles(1)[:3]
    assert sum_up(grid, {1: gather_tiles(few, grid)}, {1: nothing}) is None
    wild = gather_tiles(tiles(1, scatter=4.0), grid)
    assert sum_up(grid, {1: wild}, {1: nothing}) is None
    assert sum_up(grid, {}, {}) is None
    none = gather_tiles(np.zeros((0, 5), np.float32), grid)
    assert sum_up(grid, {1: none}, {1: nothing}) is None


def test_tiles_outside_the_grid_count_to_its_edge() -> None:
    grid = lay_grid(SIZE)
    rows = tiles(1)
    rows[:, 0] += 20
    assert np.isfinite(gather_tiles(rows, grid).error).all()
