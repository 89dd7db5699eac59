"""Registration of a real film: a fixed camera, people walking through, strong compression.

Truth: the camera is fixed (OpenCV's example film, by all one can see of it; no source states it).
scikit-image's phase correlation sees the same slow creep of a few hundredths of a pixel.
"""

from functools import cache
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import fourier_shift
from skimage.registration import phase_cross_correlation

from glimsum_workers.engine.codes import Picture
from glimsum_workers.engine.motion import Motion, Registration
from glimsum_workers.engine.registration.prepared import prepare
from glimsum_workers.engine.registration.register import register
from glimsum_workers.engine.resample.resample import resample
from support.street_film import COUNT, find_film, street_frames

EVERY = 26
HOLD = 15
"""Which of the frames looked at is the hold frame: 390 of the film."""
Light = NDArray[np.float32]


@cache
def film() -> list[Light]:
    return list(street_frames(find_film(), EVERY))


@cache
def against(hold: int) -> list[Registration]:
    still = prepare(film()[hold])
    return [register(still, prepare(each), same_light=True) for each in film()]


def lengths(found: list[Registration]) -> NDArray[np.float64]:
    return np.array([np.hypot(each.motion.dx, each.motion.dy) for each in found])


@pytest.mark.parametrize("hold", [0, HOLD])
def test_people_who_walk_through_move_no_fixed_camera(hold: int) -> None:
    found = against(hold)

    assert len(found) == -(-COUNT // EVERY)
    assert all(each.trusted for each in found)
    assert np.sqrt(np.mean(lengths(found) ** 2)) <= 0.05
    assert lengths(found).max() <= 0.1


def test_what_two_frames_are_apart_does_not_depend_on_the_frame_they_are_held_against() -> None:
    first, middle = against(0), against(HOLD)
    for one, other in zip(first, middle, strict=True):
        around = one.motion.dx - first[HOLD].motion.dx - other.motion.dx
        across = one.motion.dy - first[HOLD].motion.dy - other.motion.dy
        assert np.hypot(around, across) <= 0.03


def test_the_creep_that_is_left_is_seen_by_scikit_image_too() -> None:
    """scikit-image 0.26, whose shift has the opposite sign; log pictures, 1/100 pixel."""
    find: Any = phase_cross_correlation
    ours, theirs = [], []
    for place in range(0, len(film()), 5):
        logs = [np.log2(np.maximum(film()[k], 0) + 0.01) for k in (0, place)]
        shift, *_ = find(*logs, upsample_factor=100)
        ours.append((against(0)[place].motion.dx, against(0)[place].motion.dy))
        theirs.append((-float(shift[1]), -float(shift[0])))

    assert np.abs(np.subtract(ours, theirs)).max() <= 0.06


def test_a_frame_that_is_moved_comes_back_through_the_people() -> None:
    """Moved by SciPy's ``fourier_shift``; what is found is taken out by our own resample."""
    true = Motion(2.35, -1.6)
    moved = moved_by(film()[HOLD], true)

    found = register(prepare(film()[0]), prepare(moved), same_light=True)
    back = resample(Picture(np.repeat(moved[..., None], 3, axis=2)), found.motion).picture.rgb

    base = against(0)[HOLD].motion
    assert (
        np.hypot(found.motion.dx - base.dx - true.dx, found.motion.dy - base.dy - true.dy) <= 0.02
    )
    inner = np.s_[40:-40, 40:-40]
    still = np.median(np.abs(film()[HOLD] - film()[0])[inner])
    assert np.median(np.abs(moved - film()[0])[inner]) >= 1.5 * still
    assert np.median(np.abs(back[..., 0] - film()[0])[inner]) <= 1.25 * still


def moved_by(light: Light, motion: Motion) -> Light:
    padded = np.pad(light, 32, mode="reflect").astype(np.float64)
    spectrum = fourier_shift(np.fft.fft2(padded), (motion.dy, motion.dx))
    return np.fft.ifft2(spectrum).real[32:-32, 32:-32].astype(np.float32)
