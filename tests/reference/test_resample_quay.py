"""The resample on the cast quay: lamps that clip, light kept, nothing rung below black.

Truth: the quay as its camera sees it unmoved; the pass is moved on the grid of twice the size by
Fourier's theorem (`support.clutter_film`). Beside it stands SciPy's quintic spline (Thevenaz, Blu
and Unser 2000, doi 10.1109/42.875199). The bounds are our own: 33 dB of log light about bulbs,
light within 0.05 %, 55 dB on a picture that holds little above half of Nyquist.
"""

from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import fourier_shift, gaussian_filter, maximum_filter, shift

from glimsum_workers.engine.codes import Picture
from glimsum_workers.engine.motion import STILL, Motion
from glimsum_workers.engine.resample.resample import resample
from glimsum_workers.engine.resample.shifted import shift_channels
from support.clutter_pairs import EXPOSURES, Set

Plane = NDArray[np.float32]
QUAY = Set(202, (324, 576), stock="crates")
SHIFTS = ((0.375, -0.25), (0.5, 0.5), (-0.125, 0.625), (0.875, 0.125))
INNER = (slice(16, -16), slice(16, -16))


@cache
def seen(light: str, dx: float = 0.0, dy: float = 0.0) -> Plane:
    """Return what the camera sees without noise, clipped at 1."""
    motion = Motion(dx, dy) if dx or dy else STILL
    return np.asarray(np.minimum(QUAY.see(light, motion, 1) * EXPOSURES[light], 1), np.float32)


def in_three(plane: Plane) -> Plane:
    return np.repeat(plane[..., None], 3, axis=2)


def ours(plane: Plane, dx: float, dy: float) -> Plane:
    return resample(Picture(in_three(plane)), Motion(dx, dy)).picture.rgb[..., 0]


def free(plane: Plane, dx: float, dy: float) -> Plane:
    """Return the same kernel without limits at lamps."""
    return shift_channels(in_three(plane), dx, dy, (plane.shape[0], plane.shape[1]), None)[..., 0]


def decibels(errors: list[NDArray[np.floating]]) -> float:
    every = np.concatenate([each.ravel() for each in errors]).astype(np.float64)
    return float(-10 * np.log10(np.mean(every**2)))


def about_bulbs(plane: Plane) -> NDArray[np.bool_]:
    return np.asarray((maximum_filter(plane, 17) >= 1) & (plane < 0.9), dtype=np.bool_)


def test_no_ring_about_clipped_bulbs_goes_below_black() -> None:
    ring = about_bulbs(seen("practicals"))
    for dx, dy in SHIFTS:
        moved = seen("practicals", dx, dy)

        assert ours(moved, dx, dy)[ring].min() >= 0
        assert ours(moved, dx, dy).min() >= -0.002  # edges without a lamp overshoot a little

    lowest = [free(seen("practicals", *each), *each)[ring].min() for each in SHIFTS]
    assert min(lowest) < -0.02  # or there is nothing to prove


def test_the_ring_zone_of_clipped_bulbs_keeps_33_db_of_log_light() -> None:
    """Log light, a seventeenth a stop, as log codes have it; within 8 px of a bulb."""
    errors: dict[str, list[NDArray[np.floating]]] = {"ours": [], "free": []}
    still = seen("practicals")
    for dx, dy in SHIFTS:
        moved, ring = seen("practicals", dx, dy), about_bulbs(still)[INNER]
        for name, made in (("ours", ours(moved, dx, dy)), ("free", free(moved, dx, dy))):
            one, two = (np.log2(np.maximum(each, 2.0**-10)) / 17 for each in (made, still))
            errors[name].append((one - two)[INNER][ring])

    assert decibels(errors["ours"]) >= 35.0
    assert decibels(errors["ours"]) >= decibels(errors["free"]) + 8


@pytest.mark.parametrize(
    ("light", "most"), [("practicals", 5e-4), ("full", 5e-4), ("flash", 1e-3), ("side", 1.5e-3)]
)
def test_light_is_kept_within_a_twentieth_of_a_percent_where_lamps_clip(
    light: str, most: float
) -> None:
    """Against the kernel without limits, whose sum is that of its samples.

    In light from the side four blocks of five hold a shadow and are limited: 0.12 %.
    """
    for dx, dy in SHIFTS:
        made, sums = seen(light, dx, dy), []
        for move in (ours, free):
            sums.append(float(move(made, dx, dy)[INNER].sum(dtype=np.float64)))
        assert sums[0] / sums[1] == pytest.approx(1, abs=most)


@pytest.mark.parametrize(("light", "lost"), [("full", 0.5), ("side", 1.3)])
def test_a_sharp_aliased_quay_comes_out_nearly_as_a_quintic_spline_does(
    light: str, lost: float
) -> None:
    """In light from the side every shadow has a ratio of two and is limited as a lamp is."""
    found, spline = [], []
    for dx, dy in SHIFTS:
        moved = seen(light, dx, dy)
        found.append((ours(moved, dx, dy) - seen(light))[INNER])
        quintic = shift(moved, (-dy, -dx), order=5, mode="nearest")
        spline.append((quintic - seen(light))[INNER])

    assert decibels(found) >= decibels(spline) - lost


@pytest.mark.parametrize("light", ["full", "side", "practicals"])
def test_a_soft_quay_comes_within_55_db_of_fouriers_theorem(light: str) -> None:
    """SciPy's ``fourier_shift`` at the picture's own size; a lens of 0.8 px."""
    soft = gaussian_filter(seen(light).astype(np.float64), 0.8)
    padded, errors = np.pad(soft, 32, mode="reflect"), []
    for dx, dy in SHIFTS:
        moved = np.fft.ifft2(fourier_shift(np.fft.fft2(padded), (dy, dx))).real[32:-32, 32:-32]
        errors.append((ours(moved.astype(np.float32), dx, dy) - soft)[INNER])

    assert decibels(errors) >= 55.0
