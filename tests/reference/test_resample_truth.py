"""The resample against a street photographed at the wanted place, and against SciPy.

The truth is drawn eight times too fine and cut at whole cells (`support.fine_scene`): no
interpolation takes part in it. Bounds in dB are ours, measured once and left 0.5 dB of room;
SciPy's quintic B-spline (Thévenaz, Blu and Unser, 2000, doi 10.1109/42.875199) stands beside.
"""

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import fourier_shift, gaussian_filter, map_coordinates, maximum_filter, shift

from glimsum_workers.engine.codes import Picture
from glimsum_workers.engine.motion import Affine, Motion
from glimsum_workers.engine.resample.resample import resample
from glimsum_workers.engine.resample.shifted import shift_channels
from support.fine_scene import FineScene, draw_street

Pixels = NDArray[np.float32]
INNER = (slice(16, -16), slice(16, -16))
EIGHTHS = [(3, -2), (4, 4), (-1, 5), (7, 1)]
WHITE = np.float32(1.0)


@pytest.fixture(scope="module")
def street() -> FineScene:
    return draw_street(192, 288, seed=11)


@pytest.fixture(scope="module")
def night() -> FineScene:
    return draw_street(192, 288, seed=12, bulbs=14)


def ours(source: Pixels, right: float, down: float) -> Pixels:
    return resample(Picture(source), Motion(right, down)).picture.rgb


def free(source: Pixels, right: float, down: float) -> Pixels:
    """Return the same kernel without limits at lamps."""
    return shift_channels(source, right, down, (source.shape[0], source.shape[1]), None)


def quintic(source: Pixels, right: float, down: float) -> Pixels:
    planes = [shift(source[..., k], (-down, -right), order=5, mode="nearest") for k in range(3)]
    return np.stack(planes, axis=-1).astype(np.float32)


def decibels(error: NDArray[np.floating]) -> float:
    return float(-10 * np.log10(np.mean(error.astype(np.float64) ** 2)))


def psnr(scene: FineScene, move: Callable[[Pixels, float, float], Pixels]) -> float:
    source = scene.photograph()
    errors = [
        (move(source, right / 8, down / 8) - scene.photograph(right, down))[INNER]
        for right, down in EIGHTHS
    ]
    return decibels(np.stack(errors))


def log_codes(light: Pixels) -> Pixels:
    """Return ACEScct codes (Academy S-2016-001): what a ring looks like to a viewer."""
    low = np.float32(10.5402377416545) * light + np.float32(0.0729055341958355)
    high = (np.log2(np.maximum(light, 1e-10)) + np.float32(9.72)) / np.float32(17.52)
    return np.where(light <= 0.0078125, low, high).astype(np.float32)


def test_a_street_by_day_comes_within_55_db_and_half_a_db_of_a_quintic_spline(
    street: FineScene,
) -> None:
    found, spline = psnr(street, ours), psnr(street, quintic)

    assert found >= 55.0
    assert found >= spline - 0.5


def test_no_ring_goes_below_the_darkest_source_at_hot_bulbs(night: FineScene) -> None:
    for clip in (WHITE, np.float32(np.inf)):
        source = np.minimum(night.photograph(), clip)
        lowest = float(source.min())
        for right, down in EIGHTHS:
            assert ours(source, right / 8, down / 8).min() >= lowest >= 0
            assert free(source, right / 8, down / 8).min() < -0.08  # or there is nothing to prove


def ring_decibels(night: FineScene, move: Callable[[Pixels, float, float], Pixels]) -> float:
    """Return the PSNR of log codes within 8 px of a clipped bulb, bulbs themselves left out."""
    source, errors = np.minimum(night.photograph(), WHITE), []
    for right, down in EIGHTHS:
        truth = np.minimum(night.photograph(right, down), WHITE)
        brightest = truth.max(axis=2)
        ring = (maximum_filter(brightest, 17) >= 1) & (brightest < 0.9)
        moved = move(source, right / 8, down / 8)
        errors.append((log_codes(moved) - log_codes(truth))[INNER][ring[INNER]])
    return decibels(np.concatenate(errors))


def test_the_ring_zone_of_clipped_bulbs_keeps_33_db_where_free_kernels_lose_it(
    night: FineScene,
) -> None:
    found = ring_decibels(night, ours)

    assert found >= 33.0
    assert found >= ring_decibels(night, free) + 8
    assert found >= ring_decibels(night, quintic) + 8


def test_a_street_keeps_its_light_and_clipped_bulbs_to_a_quarter_percent(
    street: FineScene, night: FineScene
) -> None:
    """Of the free kernel's sum; in the night scene nearly all light comes from the bulbs."""
    for scene, mean_bound, worst_bound in ((street, 2e-4, 5e-4), (night, 5e-4, 2.5e-3)):
        source, ratios = np.minimum(scene.photograph(), WHITE), []
        for right, down in EIGHTHS:
            moved, linear = (move(source, right / 8, down / 8) for move in (ours, free))
            ratios.append(float(moved[INNER].sum() / linear[INNER].sum()) - 1)
        assert abs(np.mean(ratios)) <= mean_bound
        assert np.abs(ratios).max() <= worst_bound


@pytest.mark.parametrize("level", [0.0, 0.004, 0.2])
def test_ordinary_noise_is_never_limited(level: float) -> None:
    """Shot and read noise of a camera with 15 000 electrons at white and 4 of read noise."""
    random = np.random.default_rng(3)
    light = level * np.linspace(0.2, 1.0, 288)[None, :, None]
    deviation = np.sqrt(light / 15000 + (4 / 15000) ** 2)
    noisy = random.normal(light, deviation, (192, 288, 3)).astype(np.float32)

    np.testing.assert_array_equal(ours(noisy, 0.5, 0.5), free(noisy, 0.5, 0.5))


def test_five_hundred_shifts_give_five_hundred_pictures() -> None:
    source = gaussian_filter(np.random.default_rng(5).random((24, 24, 3)), (1, 1, 0))
    picture = Picture(source.astype(np.float32))
    for turn in (0.0, 0.01):
        made = {
            resample(picture, Motion(step / 500, 0.0, turn)).picture.rgb[8:16, 8:16].tobytes()
            for step in range(500)
        }
        assert len(made) >= 490


@pytest.mark.parametrize(
    ("turn", "scale"), [(0.0, 1.0), (0.02, 1.0003), (-0.9, 0.998), (12.0, 1.01)]
)
def test_a_ramp_is_placed_within_a_thousandth_of_a_pixel(turn: float, scale: float) -> None:
    y, x = np.mgrid[0:80, 0:100] + 0.5
    ramp = Picture(np.stack([x, y, x + y], axis=-1).astype(np.float32))
    worst = 0.0
    for step in range(1, 25):
        motion = Motion(step / 25, -step / 50, turn, scale)
        places = motion.at(np.stack([x.ravel(), y.ravel()], axis=1), (80, 100))
        expected = np.stack([places[:, 0], places[:, 1], places.sum(axis=1)], axis=-1)
        error = resample(ramp, motion).picture.rgb - expected.reshape(80, 100, 3)
        worst = max(worst, float(np.abs(error[24:-24, 24:-24]).max()))

    assert worst <= 1e-3 / 20


def test_a_periodic_picture_moves_as_its_spectrum_says() -> None:
    """SciPy's Fourier shift is exact for a periodic, band-limited picture; half of Nyquist."""
    random = np.random.default_rng(9)
    spectrum = np.fft.fft2(random.normal(size=(128, 128)))
    away = np.abs(np.fft.fftfreq(128))
    spectrum *= np.maximum(away[:, None], away[None]) < 0.25
    plane = np.fft.ifft2(spectrum).real
    plane /= plane.std()
    picture = Picture(np.repeat(plane[..., None], 3, axis=2).astype(np.float32))
    exact = np.fft.ifft2(fourier_shift(np.fft.fft2(plane), (0.3, -0.45))).real

    moved = resample(picture, Motion(0.45, -0.3)).picture.rgb[..., 0]

    assert decibels((moved - exact)[INNER]) >= 45.0


@pytest.mark.parametrize(
    "motion",
    [
        Motion(1.3, -0.7, 0.02, 1.0003),
        Motion(1.3, -0.7, -0.8, 0.998),
        Motion(1.3, -0.7, 5.0, 1.001),
        Affine(0.3, 0.4, ((1.001, 0.003), (-0.002, 0.9985))),
    ],
)
def test_similarity_affine_and_field_agree_with_a_quintic_spline(motion: Motion | Affine) -> None:
    """SciPy's map_coordinates, order 5, on a picture soft enough for both."""
    random = np.random.default_rng(4)
    soft = gaussian_filter(random.random((150, 200, 3)), (2, 2, 0))
    soft = ((soft - soft.min()) / np.ptp(soft)).astype(np.float32)
    y, x = np.mgrid[0:150, 0:200] + 0.5
    points = np.stack([x.ravel(), y.ravel()], axis=1)
    places = motion.at(points, (150, 200))
    field = (places - points).reshape(150, 200, 2).astype(np.float32)
    column, row = places.T.reshape(2, 150, 200) - 0.5
    spline = np.stack([map_coordinates(soft[..., k], [row, column], order=5) for k in range(3)], -1)

    for each in (motion, field):
        moved = resample(Picture(soft), each).picture.rgb
        assert decibels((moved - spline)[24:-24, 24:-24]) >= 62.0


def test_there_and_back_is_where_it_was(street: FineScene) -> None:
    motion = Motion(0.4, -0.3, rotation_deg=0.05, scale=1.0005)
    soft = gaussian_filter(street.photograph(), (1, 1, 0)).astype(np.float32)

    there = resample(Picture(soft), motion).picture
    back = resample(there, motion.inverse()).picture.rgb

    assert decibels((back - soft)[INNER]) >= 58.0


def test_a_map_in_two_passes_equals_the_same_map_in_one(street: FineScene) -> None:
    motion = Motion(0.4, -0.3, rotation_deg=0.05, scale=1.0005)
    y, x = np.mgrid[0:192, 0:288] + 0.5
    points = np.stack([x.ravel(), y.ravel()], axis=1)
    field = (motion.at(points, (192, 288)) - points).reshape(192, 288, 2).astype(np.float32)

    two = resample(Picture(street.photograph()), motion).picture.rgb
    one = resample(Picture(street.photograph()), field).picture.rgb

    assert decibels(two - one) >= 75.0


def test_lamps_are_limited_alike_in_a_shift_and_in_a_turn_too_small_to_see(
    night: FineScene,
) -> None:
    source = np.minimum(night.photograph(), WHITE)
    turned = Motion(0.4, -0.3, rotation_deg=1e-7)
    field = np.full((192, 288, 2), (0.4, -0.3), np.float32)

    shifted = ours(source, 0.4, -0.3)

    for motion in (turned, field):
        moved = resample(Picture(source), motion).picture.rgb
        np.testing.assert_allclose(moved, shifted, atol=1e-5)
        assert moved.min() >= source.min()
