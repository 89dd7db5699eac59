"""The parts of registration against theory: filters, interpolation, noise, robust spread."""

import numpy as np
import pytest

from glimsum_workers.engine.registration.bands import (
    ACROSS_LIGHTS,
    GENERAL,
    Band,
    halve,
    pass_band,
    pass_halves,
    widen,
)
from glimsum_workers.engine.registration.models import as_motion, model_basis
from glimsum_workers.engine.registration.noise import (
    Noise,
    estimate_noise,
    stabilise,
    stabilise_halved,
)
from glimsum_workers.engine.registration.prepared import Level
from glimsum_workers.engine.registration.spread import find_misfit, middle
from glimsum_workers.engine.registration.taps import PLACES, curve_between, read_between
from glimsum_workers.engine.registration.tile_sums import TILE, lay_tiles, sum_tiles


@pytest.mark.parametrize("frequency", [0.08, 0.1, 0.15, 0.2, 0.22])
def test_taps_read_a_sine_between_its_samples(frequency: float) -> None:
    """Sine and slope are known from the formula."""
    fractions = np.linspace(-1, 1, 81)
    taps, slopes = read_between(fractions)
    samples = np.exp(2j * np.pi * frequency * PLACES)
    wave = np.exp(2j * np.pi * frequency * fractions)

    np.testing.assert_allclose(taps @ samples, wave, atol=0.01)
    np.testing.assert_allclose(slopes @ samples / (2 * np.pi * frequency), 1j * wave, atol=0.035)


@pytest.mark.parametrize("frequency", [0.08, 0.15, 0.22])
def test_taps_tell_how_a_sine_curves(frequency: float) -> None:
    """Its second derivative is known from the formula; that of a parabola is exact."""
    fractions = np.linspace(-1, 1, 81)
    curves = curve_between(fractions)
    angle = 2 * np.pi * frequency
    wave = np.exp(1j * angle * fractions)

    np.testing.assert_allclose(curves @ np.exp(1j * angle * PLACES) / angle**2, -wave, atol=0.1)
    np.testing.assert_allclose(curves @ PLACES**2, 2, atol=1e-6)


def test_taps_place_a_ramp_where_it_is() -> None:
    fractions = np.linspace(-1, 1, 81)
    taps, slopes = read_between(fractions)

    np.testing.assert_allclose(taps.sum(axis=1), 1, atol=1e-9)
    np.testing.assert_allclose(taps @ PLACES, fractions, atol=1e-9)
    np.testing.assert_allclose(slopes @ PLACES, 1, atol=1e-9)


def test_taps_return_the_sample_itself_at_whole_places() -> None:
    taps, _ = read_between(np.array([-1.0, 0.0, 1.0]))

    np.testing.assert_allclose(taps, np.eye(7)[[2, 3, 4]], atol=1e-4)


@pytest.mark.parametrize("band", [GENERAL, ACROSS_LIGHTS])
def test_a_band_holds_no_constant_and_keeps_the_stated_noise(band: Band) -> None:
    noise = np.random.default_rng(1).standard_normal((300, 400)).astype(np.float32)

    np.testing.assert_allclose(
        pass_band(np.full((50, 60), 7.0, np.float32), band=band), 0, atol=1e-5
    )
    assert np.var(pass_band(noise, band=band)) == pytest.approx(band.noise, rel=0.02)
    assert np.std(halve(noise)) == pytest.approx(1.0, rel=0.02)


@pytest.mark.parametrize("band", [GENERAL, ACROSS_LIGHTS])
def test_a_band_answers_a_point_with_its_kernel(band: Band) -> None:
    """The kernel is convolved here by numpy from what the docstring of `Band` says."""
    mean: np.ndarray = np.ones(1)
    for box in (4, 4, 4, band.last_box):
        mean = np.convolve(mean, np.full(box, 1 / box))
    near = np.zeros_like(mean)
    near[len(mean) // 2 - 1 : len(mean) // 2 + 2] = [0.25, 0.5, 0.25]
    point = np.zeros((61, 70), np.float32)
    point[30, 35] = 1

    found = pass_band(point, band=band)

    reach = len(mean) // 2
    here = slice(30 - reach, 31 + reach), slice(35 - reach, 36 + reach)
    np.testing.assert_allclose(found[here], np.outer(near, near) - np.outer(mean, mean), atol=1e-7)
    assert np.count_nonzero(np.abs(found) > 1e-7) <= len(mean) ** 2
    variance = np.sum(mean * (np.arange(len(mean)) - reach) ** 2)
    assert variance == pytest.approx((44 + band.last_box**2) / 12)


@pytest.mark.parametrize("band", [GENERAL, ACROSS_LIGHTS])
def test_what_is_clipped_has_no_say_in_a_band(band: Band) -> None:
    random = np.random.default_rng(2)
    plane = random.standard_normal((80, 90)).astype(np.float32)
    valid = np.ones(plane.shape, dtype=np.bool_)
    valid[30:40, 30:45] = False
    other = np.where(valid, plane, np.float32(1e4))

    np.testing.assert_allclose(
        pass_band(other, valid, band), pass_band(plane, valid, band), atol=1e-4
    )
    assert not pass_band(other, valid, band)[~valid].any()


@pytest.mark.parametrize("clipped", [np.inf, np.nan, 3e38])
def test_what_is_clipped_may_be_endless(clipped: float) -> None:
    plane = np.random.default_rng(2).standard_normal((80, 300)).astype(np.float32)
    valid = np.ones(plane.shape, dtype=np.bool_)
    valid[30:40, 100:120] = False
    other = plane.copy()
    other[35, 110] = clipped

    np.testing.assert_array_equal(pass_band(other, valid), pass_band(plane, valid))


def test_detail_that_is_no_number_is_kept_as_none() -> None:
    plane = np.random.default_rng(2).standard_normal((80, 300)).astype(np.float32)
    plane[35, 110] = np.nan

    found = pass_halves(plane)

    assert np.isfinite(found).all()
    assert not found[27:44, 102:119].any()


def test_a_mask_grows_on_all_sides() -> None:
    mask = np.zeros((9, 9), dtype=np.bool_)
    mask[4, 4] = True

    assert widen(mask, 2).sum() == 25


def test_shot_and_read_noise_are_read_from_a_picture_and_evened_out() -> None:
    """Truth: Poisson electrons of known gain on soft shading, drawn by numpy."""
    random = np.random.default_rng(3)
    gain, read = 1 / 12000, 5 / 12000
    ramp = 0.6 * np.linspace(0, 1, 640)[None, :] ** 4 * np.ones((400, 1))
    light = random.poisson(ramp / gain) * gain + random.normal(0, read, ramp.shape)

    found = estimate_noise(light.astype(np.float32))
    steady = stabilise(light.astype(np.float32), Noise(gain, read))

    # The quietest blocks are looked at, so the estimate lies low.
    assert 0.5 <= found.gain / gain <= 1.1
    assert 0.4 <= found.read / read <= 2
    for first in (100, 300, 500):
        strip = steady[:, first : first + 1]
        assert np.std(strip) == pytest.approx(1.0, rel=0.15)


@pytest.mark.parametrize("size", [(60, 80), (61, 83)])
def test_light_evened_out_at_half_the_size_is_that_of_the_whole(size: tuple[int, int]) -> None:
    light = np.random.default_rng(9).normal(0.2, 0.5, size).astype(np.float32)
    noise = Noise(1 / 12000, 5 / 12000)

    found, wanted = stabilise_halved(light, noise), halve(stabilise(light, noise))

    assert found.shape == (size[0] // 2, size[1] // 2)
    np.testing.assert_allclose(found, wanted, rtol=1e-6)
    assert (light < 0).any()


@pytest.mark.parametrize("holes", [False, True])
def test_kept_detail_is_rounded_to_halves(holes: bool) -> None:
    """numpy's own rounding; beyond 60000 it is limited."""
    plane = np.random.default_rng(10).standard_normal((70, 300)).astype(np.float32)
    plane[20, 30] = 1e6
    valid = np.ones(plane.shape, dtype=np.bool_)
    valid[40:50, 100:280] = not holes

    found, exact = (run(plane, valid, GENERAL) for run in (pass_halves, pass_band))

    np.testing.assert_array_equal(found, np.clip(exact, -60000, 60000).astype(np.float16))
    assert found.max() == 60000


def test_no_picture_is_without_noise() -> None:
    for flat in (np.zeros((64, 64), np.float32), np.full((64, 64), 0.2, np.float32)):
        found = estimate_noise(flat)

        assert found.gain > 0
        assert found.read > 0


def test_the_misfit_is_what_the_tiles_own_noise_leaves_unexplained() -> None:
    random = np.random.default_rng(4)
    own = random.uniform(0.01, 0.2, 1400)
    off = random.normal(0, np.hypot(own, 0.1))

    assert find_misfit(off, own**2, np.ones(1400)) == pytest.approx(0.1, rel=0.15)
    assert find_misfit(random.normal(0, own), own**2, np.ones(1400)) < 0.03
    assert middle(np.array([3.0, 1.0, 2.0])) == 2.0


@pytest.mark.parametrize("holes", [False, True])
def test_sums_over_tiles_are_those_of_their_definition(holes: bool) -> None:
    random = np.random.default_rng(6)
    size = (90, 120)
    one, two = (random.standard_normal(size).astype(np.float16) for _ in range(2))
    valid = np.ones(size, dtype=np.bool_)
    if holes:
        valid[30:33, 40:44] = False
        one[~valid] = 0
    tops, lefts = lay_tiles(size)
    expected = np.broadcast_to(np.array([1.2, -0.7]), (len(tops), len(lefts), 2))

    sums = sum_tiles(Level(one, valid, 1), Level(two, None, 1), expected)

    corner = np.array([size[1] / 2 - 8, size[0] / 2 - 8])
    assert len(sums.count) == (len(tops) - 1) * len(lefts)  # the first row lies outside by then
    for number, (x, y) in enumerate(sums.centres + corner):
        here = slice(int(y), int(y) + TILE), slice(int(x), int(x) + TILE)
        still, kept = one[here].astype(np.float64), valid[here]

        def there(down: int, right: int, x: int = int(x), y: int = int(y)) -> np.ndarray:
            top, left = y - 1 + down, x + 1 + right
            return two[top : top + TILE, left : left + TILE].astype(np.float64)

        cross = [[np.sum(still * there(j, i)) for i in range(-3, 4)] for j in range(-3, 4)]
        energy = [[np.sum(kept * there(j, i) ** 2) for i in (-1, 0, 1)] for j in (-1, 0, 1)]
        np.testing.assert_allclose(sums.cross[number], cross, atol=1e-3)
        np.testing.assert_allclose(sums.energy[number], energy, rtol=1e-5)
        assert sums.own[number, 0] == pytest.approx(np.sum(still**2), rel=1e-5)
        assert sums.count[number] == kept.sum()


@pytest.mark.parametrize("model", ["shift", "similarity", "affine"])
def test_parameters_are_displacements_of_the_corner(model: str) -> None:
    names = {"shift": 2, "similarity": 4, "affine": 6}
    random = np.random.default_rng(5)
    parameters = random.uniform(-2, 2, names[model])
    points = random.uniform(0, 300, (7, 2))
    size, reach = (200, 320), float(np.hypot(200, 320) / 2)
    places = (points - [160, 100]) / reach

    motion = as_motion(model, parameters, reach)  # type: ignore[arg-type]  # from the list above
    basis = model_basis(model, places)  # type: ignore[arg-type]  # from the list above

    np.testing.assert_allclose(motion.at(points, size) - points, basis @ parameters, atol=1e-9)
