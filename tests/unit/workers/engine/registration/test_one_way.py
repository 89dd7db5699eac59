"""Pictures whose edges all run one way: along them nobody can tell how far they lie.

The stripes are drawn from formulas and moved by them, noise is drawn by numpy.
"""

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from glimsum_workers.engine.motion import Registration
from glimsum_workers.engine.registration.bands import band_for
from glimsum_workers.engine.registration.prepared import prepare
from glimsum_workers.engine.registration.register import register

Numbers = NDArray[np.float64]
Scene = Callable[[Numbers, Numbers], Numbers]

SIZE = (257, 273)
ELECTRONS, READ = 15000.0, 4.0


def stripes(degrees: float, seed: int) -> Scene:
    """Return stripes of no pattern, as of a wall of boards, that lie so many degrees askew."""
    heights = np.cumsum(np.random.default_rng(seed).normal(0, 0.02, 3000))
    heights -= np.convolve(heights, np.ones(61) / 61, "same")
    angle = np.deg2rad(degrees)

    def scene(x: Numbers, y: Numbers) -> Numbers:
        across = y * np.cos(angle) + x * np.sin(angle)
        return np.asarray(0.4 + np.interp((across + 1000) / 1.3, np.arange(3000), heights))

    return scene


def sines(degrees: float, period_px: float) -> Scene:
    """Return stripes that repeat."""
    angle = np.deg2rad(degrees)

    def scene(x: Numbers, y: Numbers) -> Numbers:
        across = y * np.cos(angle) + x * np.sin(angle)
        return np.asarray(0.3 + 0.2 * np.sin(2 * np.pi * across / period_px))

    return scene


def film(scene: Scene, dx: float, dy: float, gain: float, seed: int) -> NDArray[np.float32]:
    """Return the scene as a camera records it, moved right and down."""
    random = np.random.default_rng(seed)
    y, x = np.mgrid[: SIZE[0], : SIZE[1]].astype(np.float64)
    light = gain * np.maximum(scene(x - dx, y - dy), 0)
    electrons = random.poisson(light * ELECTRONS) + random.normal(0, READ, SIZE)
    return (electrons / ELECTRONS).astype(np.float32)


def find(scene: Scene, dx: float, dy: float, *, same_light: bool, seed: int) -> Registration:
    band = band_for(same_light=same_light)
    gain = 1.0 if same_light else 0.5
    still, moved = film(scene, 0, 0, 1.0, seed), film(scene, dx, dy, gain, seed + 1000)
    ready = [prepare(each, band=band) for each in (still, moved)]
    return register(*ready, same_light=same_light)


@pytest.mark.parametrize("same_light", [True, False])
@pytest.mark.parametrize("degrees", [0.0, 10.0, 45.0, 90.0])
@pytest.mark.parametrize("period_px", [None, 7.0, 13.0, 29.0])
def test_stripes_are_never_trusted(
    degrees: float, period_px: float | None, same_light: bool
) -> None:
    """Without that they claimed hundredths of a pixel and lay up to 15 pixels off."""
    for seed in range(3):
        dx, dy = np.random.default_rng(seed).uniform(-6, 6, 2)
        scene = stripes(degrees, seed) if period_px is None else sines(degrees, period_px)

        found = find(scene, dx, dy, same_light=same_light, seed=seed)

        assert not found.trusted
        assert found.reason


@pytest.mark.parametrize("same_light", [True, False])
def test_stripes_say_that_their_edges_run_one_way(same_light: bool) -> None:
    found = find(stripes(0.0, 4), 3.3, 1.7, same_light=same_light, seed=4)

    assert found.reason.startswith("all edges run one way: along them the pictures share 0.0")


def test_boards_with_nails_are_found() -> None:
    """A hundred small spots tell how far the stripes lie along themselves."""
    boards, random = stripes(0.0, 5), np.random.default_rng(5)
    spots = random.uniform(10, 250, (100, 2))

    def scene(x: Numbers, y: Numbers) -> Numbers:
        nails = np.zeros_like(x)
        for left, top in spots:
            nails += np.exp(-((x - left) ** 2 + (y - top) ** 2) / 4)
        return boards(x, y) * (1 - 0.5 * np.minimum(nails, 1))

    found = find(scene, 3.3, 1.7, same_light=True, seed=5)

    assert found.trusted, found.reason
    assert np.hypot(found.motion.dx - 3.3, found.motion.dy - 1.7) < min(0.05, 3 * found.sigma_px)
