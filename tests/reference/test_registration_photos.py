"""Registration on photographs bundled with scikit-image, their contrast reversed or relit.

The truth is SciPy's ``fourier_shift`` of the padded photograph. The bounds are our own.
"""

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import fourier_shift, gaussian_filter
from skimage import data, registration

from glimsum_workers.engine.motion import Registration
from glimsum_workers.engine.registration.bands import band_for
from glimsum_workers.engine.registration.prepared import prepare
from glimsum_workers.engine.registration.register import register

PHOTOS = ("astronaut", "brick", "camera", "chelsea", "coffee", "grass", "gravel", "rocket")
SHIFTS = ((0.4, -0.7), (-2.3, 1.15), (5.62, 3.31))


def photo(name: str) -> NDArray[np.float64]:
    """Return a photograph in linear light, 0..1, smoothed a little so that a shift is exact."""
    codes = np.asarray(getattr(data, name)(), dtype=np.float64)
    grey = codes if codes.ndim == 2 else codes[..., :3].mean(axis=2)
    return np.asarray(gaussian_filter((grey / 255) ** 2.2, 0.7), dtype=np.float64)


def shifted(plane: NDArray[np.float64], dx: float, dy: float) -> NDArray[np.float64]:
    padded = np.pad(plane, 32, mode="reflect")
    moved = np.fft.ifft2(fourier_shift(np.fft.fft2(padded), (dy, dx))).real
    return np.asarray(moved[32:-32, 32:-32])


def grain(plane: NDArray[np.float64], seed: int) -> NDArray[np.float32]:
    random = np.random.default_rng(seed)
    noise = random.standard_normal(plane.shape) * np.sqrt(np.abs(plane) / 15000 + 7e-8)
    return (plane + noise).astype(np.float32)


def find(one: NDArray[np.float32], two: NDArray[np.float32]) -> Registration:
    """Register across lights."""
    band = band_for(same_light=False)
    return register(prepare(one, band=band), prepare(two, band=band))


def test_reversed_contrast_is_no_hindrance() -> None:
    """Reversed on a square-root scale."""
    errors = []
    for name in PHOTOS:
        plane = photo(name)
        for number, (dx, dy) in enumerate(SHIFTS):
            moved = (1.05 - np.sqrt(np.maximum(shifted(plane, dx, dy), 0))) ** 2
            found = find(grain(plane, 1), grain(moved, 2 + number))
            errors.append(np.hypot(found.motion.dx - dx, found.motion.dy - dy))
            assert found.trusted
            assert errors[-1] <= 3 * found.sigma_px

    assert np.sqrt(np.mean(np.square(errors))) <= 0.02
    assert max(errors) <= 0.04


@pytest.mark.parametrize("name", PHOTOS)
def test_lamps_from_elsewhere_are_no_hindrance(name: str) -> None:
    """Four soft pools of light instead of even light."""
    plane = photo(name)
    y, x = np.mgrid[: plane.shape[0], : plane.shape[1]]
    random, pools = np.random.default_rng(9), np.full(plane.shape, 0.01)
    for _ in range(4):
        row, column = random.uniform(0.15, 0.85, 2) * plane.shape
        pools += np.exp(-((y - row) ** 2 + (x - column) ** 2) / (2 * (0.12 * plane.shape[0]) ** 2))
    dx, dy = SHIFTS[1]

    found = find(grain(plane, 1), grain(shifted(plane, dx, dy) * pools, 2))

    assert found.trusted
    assert np.hypot(found.motion.dx - dx, found.motion.dy - dy) <= min(0.1, 3 * found.sigma_px)


@pytest.mark.parametrize("name", PHOTOS)
def test_shading_by_the_slope_of_paint_itself_is_not_trusted(name: str) -> None:
    """Light from the side on paint that is relief: p (1 + k p'/p) is p(x + k), a shift for all.

    Only that finer detail seems to move less or more than coarser detail gives it away.
    """
    plane = photo(name)
    moved = shifted(plane, *SHIFTS[0])
    lean = np.gradient(moved, axis=1) / np.maximum(moved, 1e-3)
    shade = 1 + np.clip(0.4 * lean / np.abs(lean).mean(), -0.9, 3)

    found = find(grain(plane, 1), grain(moved * shade, 2))

    off = found.motion.dx - SHIFTS[0][0], found.motion.dy - SHIFTS[0][1]
    assert np.hypot(*off) > 0.5  # else nothing is tried here
    assert not found.trusted
    assert found.sigma_px >= np.hypot(*off) / 3


def test_even_light_agrees_with_scikit_image() -> None:
    """scikit-image 0.26 `phase_cross_correlation`, whose shift has the opposite sign."""
    plane = photo("gravel")
    one, two = grain(plane, 1), grain(shifted(plane, 0.4, -0.7), 2)

    window = np.outer(np.hanning(plane.shape[0]), np.hanning(plane.shape[1]))
    find_theirs: Any = registration.phase_cross_correlation
    theirs, *_ = find_theirs(one * window, two * window, upsample_factor=100)
    ours = register(prepare(one), prepare(two), same_light=True)

    assert ours.motion.dx == pytest.approx(-theirs[1], abs=0.03)
    assert ours.motion.dy == pytest.approx(-theirs[0], abs=0.03)
