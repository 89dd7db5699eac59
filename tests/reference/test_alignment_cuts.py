"""Photographs cut twice at a known offset: no interpolation takes part in the truth.

Photographs bundled with scikit-image (see `support.photographs`).
"""

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import fourier_shift

from glimsum_workers.engine.codes import Picture
from glimsum_workers.engine.motion import Motion
from glimsum_workers.engine.registration.prepared import prepare
from glimsum_workers.engine.registration.register import register
from glimsum_workers.engine.resample.resample import resample
from support.photographs import MARGIN, PHOTOS, cut, photograph

OFFSETS = ((0, 0), (1, -2), (-7, 4), (13, 9))


@pytest.mark.parametrize("name", PHOTOS)
@pytest.mark.parametrize(("halved", "most"), [(False, 0.02), (True, 0.03)])
def test_a_photograph_cut_twice_says_how_far_apart(name: str, halved: bool, most: float) -> None:
    plane, step = photograph(name), 2 if halved else 1
    one = prepare(cut(plane, 0, 0, 1, halved=halved))
    for number, (right, down) in enumerate(OFFSETS):
        other = prepare(cut(plane, right, down, 2 + number, halved=halved))

        found = register(one, other, same_light=True)

        # What the second window shows lies further left and up in it.
        assert found.trusted
        assert found.motion.dx == pytest.approx(-right / step, abs=most)
        assert found.motion.dy == pytest.approx(-down / step, abs=most)


def test_a_cut_that_is_found_and_resampled_is_the_first_cut_again() -> None:
    """Whole offset: the resample of a shift found to 0.01 px leaves the noise of two pictures."""
    plane = photograph("astronaut")
    one, two = (cut(plane, at, -at, at + 1, halved=False) for at in (0, 3))

    found = register(prepare(one), prepare(two), same_light=True, model="shift").motion
    back = resample(Picture(np.repeat(two[..., None], 3, axis=2)), found).picture.rgb[..., 0]

    inner = np.s_[MARGIN:-MARGIN, MARGIN:-MARGIN]
    before, after = (float(np.std((each - one)[inner])) for each in (two, back))
    noise = float(np.sqrt(np.mean(2 * one / 15000 + 2 * 7e-8)))
    assert before >= 20 * noise
    assert after <= 1.5 * noise


@pytest.mark.parametrize("shift", [(0.25, -0.5), (-1.75, 3.1), (6.4, 5.9)])
def test_registration_and_resample_undo_a_shift_by_fouriers_theorem(
    shift: tuple[float, float],
) -> None:
    """SciPy's ``fourier_shift`` of photographs without what lies above half of Nyquist."""
    errors = []
    for name in PHOTOS:
        plane = smooth(photograph(name))
        moved = moved_by(plane, *shift)
        pair = [prepare(each.astype(np.float32)) for each in (plane, moved)]

        found = register(*pair, same_light=True).motion
        back = resample(
            Picture(np.repeat(moved[..., None], 3, axis=2).astype(np.float32)), Motion(*shift)
        ).picture.rgb[..., 0]

        errors.append(np.hypot(found.dx - shift[0], found.dy - shift[1]))
        inner = np.s_[24:-24, 24:-24]
        assert -10 * np.log10(np.mean((back - plane)[inner] ** 2)) >= 55.0

    assert max(errors) <= 0.03


def smooth(plane: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the photograph without what lies above half of Nyquist, edges mirrored."""
    padded = np.pad(plane, 32, mode="reflect")
    away = [np.abs(np.fft.fftfreq(size)) for size in padded.shape]
    gate = [1 / (1 + (each / 0.2) ** 12) for each in away]
    spectrum = np.fft.fft2(padded) * gate[0][:, None] * gate[1][None]
    return np.asarray(np.fft.ifft2(spectrum).real[32:-32, 32:-32])


def moved_by(plane: NDArray[np.float64], dx: float, dy: float) -> NDArray[np.float64]:
    padded = np.pad(plane, 32, mode="reflect")
    moved = np.fft.ifft2(fourier_shift(np.fft.fft2(padded), (dy, dx))).real
    return np.asarray(moved[32:-32, 32:-32])
