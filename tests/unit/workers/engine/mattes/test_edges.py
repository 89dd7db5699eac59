"""Mattes grown, shrunk and softened, against disks, SciPy and scikit-image."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numpy.typing import NDArray
from scipy import ndimage
from skimage.morphology import dilation

from glimsum_workers.engine.mattes.grow import grow
from glimsum_workers.engine.mattes.outline import cover_outline
from glimsum_workers.engine.mattes.soften import soften

SIZE = (80, 90)
GROWTHS = [0.25, 0.5, 1, 2.7, 10.4, -0.5, -3.3, -10]
MATTES = arrays(np.float32, (9, 11), elements=st.floats(0, 1, width=32))


def disk(radius: int) -> NDArray[np.bool_]:
    y, x = np.mgrid[-radius : radius + 1, -radius : radius + 1]
    return np.asarray(x * x + y * y <= radius * radius, dtype=np.bool_)


def round_matte(radius: float) -> NDArray[np.float32]:
    angles = np.arange(500) * (2 * np.pi / 500)
    corners = [44.3, 40.6] + radius * np.stack([np.cos(angles), np.sin(angles)], axis=1)
    return cover_outline(corners, SIZE)


@pytest.mark.parametrize("px", GROWTHS)
def test_a_disk_grown_is_the_disk_of_the_larger_radius(px: float) -> None:
    made, wanted = grow(round_matte(20), px), round_matte(20 + px)

    radius = float(np.sqrt(made.sum() / np.pi))

    assert radius == pytest.approx(20 + px, abs=0.1)
    assert np.abs(made - wanted).max() <= 0.25


@pytest.mark.parametrize("px", [0.25, 1.5, 4.75, -0.4, -6.5])
def test_an_upright_edge_moves_by_the_very_distance(px: float) -> None:
    edge = cover_outline(np.array([[-9, -9], [30.4, -9], [30.4, 99], [-9, 99]]), SIZE)

    assert grow(edge, px).sum(axis=1) == pytest.approx(30.4 + px, abs=0.02)


@pytest.mark.parametrize("radius", [1, 3, 7])
def test_whole_pixels_hold_at_least_the_dilation_by_a_disk(radius: int) -> None:
    # scikit-image: grey dilation by the pixel centres of a disk; ours has its rim besides.
    weight = ndimage.gaussian_filter(np.random.default_rng(1).random(SIZE), 2).astype(np.float32)
    theirs = dilation(weight, disk(radius))

    made = grow(weight, radius)

    assert (made >= theirs - 1e-6).all()
    assert np.abs(made - theirs).max() <= 0.03


@settings(max_examples=30, deadline=None)
@given(MATTES, st.floats(0.1, 4))
def test_growing_only_adds_and_shrinking_only_takes(weight: NDArray[np.float32], px: float) -> None:
    grown, shrunk = grow(weight, px), grow(weight, -px)

    assert (grown >= weight - 1e-6).all()
    assert (shrunk <= weight + 1e-6).all()
    assert grown.max() <= 1
    assert shrunk.min() >= 0
    # Growing a matte is shrinking what it leaves.
    np.testing.assert_allclose(grow(1 - weight, px), 1 - shrunk, atol=1e-6)


@settings(max_examples=30, deadline=None)
@given(MATTES, st.integers(1, 3))
def test_grown_then_shrunk_nothing_of_a_hard_matte_is_lost(
    weight: NDArray[np.float32], px: int
) -> None:
    # Closing holds its set (Serra 1982, from memory); the rim between pixels may give back
    # what bilinear weights mix, so this is asked of the dilation by whole pixels.
    hard = (weight > 0.5).astype(np.float32)
    closed = ndimage.grey_erosion(grow(hard, px), footprint=disk(px), mode="nearest")

    assert (closed >= hard).all()


def test_a_line_thinner_than_the_growth_is_filled_through() -> None:
    line = np.zeros((41, 41), np.float32)
    line[20] = 1

    made = grow(line, 5.0)

    assert (made[15:26] == 1).all()
    assert (made[:15] == 0).all()
    assert (made[26:] == 0).all()


@pytest.mark.parametrize("sigma", [0.5, 1, 3.7, 20])
def test_softening_is_the_gaussian_of_scipy(sigma: float) -> None:
    weight = np.random.default_rng(2).random(SIZE).astype(np.float32)
    theirs = ndimage.gaussian_filter(weight.astype(np.float64), sigma, mode="nearest", truncate=4)

    np.testing.assert_allclose(soften(weight, sigma), theirs, atol=1e-6)


def test_nothing_asked_is_nothing_done() -> None:
    weight = np.random.default_rng(3).random(SIZE).astype(np.float32)

    assert grow(weight, 0) is weight
    assert soften(weight, 0) is weight
    assert (grow(np.ones(SIZE, np.float32), -5) == 1).all()
