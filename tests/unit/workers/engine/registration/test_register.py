"""What `register` promises whatever it is given: truth, refusals, and the same bits every time."""

import pickle
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import fourier_shift, gaussian_filter

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.motion import Registration
from glimsum_workers.engine.registration.bands import ACROSS_LIGHTS, band_for
from glimsum_workers.engine.registration.prepared import prepare
from glimsum_workers.engine.registration.register import register

Plane = NDArray[np.float32]
SHAPE = (256, 320)


def texture(seed: int = 0, shape: tuple[int, int] = SHAPE) -> Plane:
    """Return paint: periodic noise of several sizes, about 0.3."""
    random = np.random.default_rng(seed)
    total = np.full(shape, 0.3)
    for sigma, size in ((1.0, 0.03), (2.5, 0.05), (9.0, 0.06)):
        part = gaussian_filter(random.standard_normal(shape), sigma, mode="wrap")
        total += size * part / part.std()
    return np.asarray(np.clip(total, 0.02, None), dtype=np.float32)


def shifted(plane: Plane, dx: float, dy: float) -> Plane:
    """Shift a periodic picture exactly (SciPy, Fourier's theorem)."""
    moved = np.fft.ifft2(fourier_shift(np.fft.fft2(plane), (dy, dx))).real
    return np.asarray(moved, dtype=np.float32)


def grain(plane: Plane, seed: int, gain: float = 1e-4) -> Plane:
    random = np.random.default_rng(seed)
    noise = random.standard_normal(plane.shape) * np.sqrt(gain * np.abs(plane) + 1e-7)
    return (plane + noise).astype(np.float32)


def find(one: Plane, two: Plane, *, same_light: bool = False) -> Registration:
    band = band_for(same_light=same_light)
    return register(prepare(one, band=band), prepare(two, band=band), same_light=same_light)


@pytest.mark.parametrize(("dx", "dy"), [(0.0, 0.0), (0.37, -1.62), (-5.5, 3.25), (17.3, 11.8)])
def test_a_known_shift_is_found(dx: float, dy: float) -> None:
    found = find(grain(texture(), 1), grain(shifted(texture(), dx, dy), 2), same_light=True)

    assert found.motion.dx == pytest.approx(dx, abs=0.01)
    assert found.motion.dy == pytest.approx(dy, abs=0.01)
    assert found.trusted
    assert found.reason == ""
    assert found.sigma_px < 0.01


def test_patches_that_contradict_each_other_widen_the_sigma_in_the_same_light() -> None:
    """As a clip leaves them that moved half of its patches a fraction of a pixel too far."""
    random = np.random.default_rng(5)
    far = np.kron(random.random((SHAPE[0] // 32, SHAPE[1] // 32)) < 0.5, np.ones((32, 32))) > 0
    mixed = np.where(far, shifted(texture(), 0.2, 0.0), texture())

    found = find(grain(texture(), 1, 1e-5), grain(mixed, 2, 1e-5), same_light=True)

    assert 0.05 < found.motion.dx < 0.15
    assert abs(found.motion.dx) <= 3 * found.sigma_px
    assert abs(found.motion.dx - 0.2) <= 3 * found.sigma_px
    assert found.sigma_px <= 0.1


def test_contrast_may_be_reversed() -> None:
    found = find(grain(texture(), 1), grain(np.float32(0.7) - shifted(texture(), 1.3, 0.4), 2))

    assert found.motion.dx == pytest.approx(1.3, abs=0.02)
    assert found.motion.dy == pytest.approx(0.4, abs=0.02)


def test_the_scale_of_the_light_does_not_matter() -> None:
    one, two = grain(texture(), 1), grain(shifted(texture(), 1.3, 0.4), 2)

    found, scaled = find(one, two), find(one * np.float32(1000), two * np.float32(0.001))

    assert scaled.motion.dx == pytest.approx(found.motion.dx, abs=1e-3)


def test_pictures_exchanged_give_the_inverse() -> None:
    one, two = grain(texture(), 1), grain(shifted(texture(), 1.3, 0.4), 2)

    there, back = find(one, two), find(two, one)

    assert back.motion.dx == pytest.approx(-there.motion.dx, abs=0.005)
    assert back.motion.dy == pytest.approx(-there.motion.dy, abs=0.005)


def test_lamps_that_clip_and_do_not_move_are_left_out() -> None:
    lamp = np.zeros(SHAPE, dtype=np.bool_)
    for x, y in ((60, 50), (160, 120), (250, 190), (90, 200)):
        lamp[y - 12 : y + 12, x - 12 : x + 12] = True
    one = np.where(lamp, np.float32(1), grain(texture(), 1))
    two = np.where(lamp, np.float32(1), grain(shifted(texture(), 0.8, -0.6), 2))

    both = (prepare(each, clipped=lamp, band=ACROSS_LIGHTS) for each in (one, two))
    found = register(*both)

    assert found.motion.dx == pytest.approx(0.8, abs=0.02)
    assert found.motion.dy == pytest.approx(-0.6, abs=0.02)


def test_threads_and_a_second_run_give_the_same_bits() -> None:
    one, two = prepare(grain(texture(), 1)), prepare(grain(shifted(texture(), 1.3, 0.4), 2))
    stored = pickle.loads(pickle.dumps((one, two)))  # noqa: S301  # our own bytes

    with ThreadPoolExecutor(4) as pool:
        many = list(pool.map(lambda _: register(one, two), range(4)))

    first = register(*stored)
    for each in many:
        assert each.motion == first.motion
        assert each.sigma_px == first.sigma_px
        np.testing.assert_array_equal(each.tiles, first.tiles)


def test_tiles_say_where_they_are_and_weigh() -> None:
    tiles = find(grain(texture(), 1), grain(shifted(texture(), 1.3, 0.4), 2)).tiles

    assert tiles.shape[1] == 5
    assert len(tiles) > 150
    assert tiles[:, 0].min() > 0
    assert tiles[:, 0].max() < SHAPE[1]
    assert tiles[:, 1].max() < SHAPE[0]
    assert np.abs(np.median(tiles[:, 2:4], axis=0)).max() < 0.02
    assert tiles[:, 4].min() >= 0
    assert tiles[:, 4].max() <= 1


FLAT = np.full(SHAPE, 0.2, dtype=np.float32)


@pytest.mark.parametrize(
    ("other", "why"),
    [
        (FLAT, "no detail in common"),
        (np.zeros(SHAPE, np.float32), "no detail in common"),
        (grain(FLAT, 3), "agree too little"),
        (grain(texture(77), 4), "agree too little"),
        (grain(texture()[::-1, ::-1].copy(), 5), "agree too little"),
        (
            grain(np.asarray(gaussian_filter(texture(), 25), dtype=np.float32), 6),
            "agree too little",
        ),
        (np.tile(np.linspace(0, 1, SHAPE[1], dtype=np.float32), (SHAPE[0], 1)), "agree too little"),
    ],
    ids=["flat", "black", "grain", "another picture", "upside down", "fog", "shading"],
)
def test_a_picture_without_common_detail_is_not_trusted(other: Plane, why: str) -> None:
    found = find(grain(texture(), 1), other)

    assert not found.trusted
    assert why in found.reason
    assert np.isfinite([found.motion.dx, found.motion.dy, found.alarm]).all()
    assert not np.isnan(found.sigma_px)
    assert np.isfinite(found.tiles).all()


def test_stripes_are_not_known_along_themselves() -> None:
    stripes = np.empty(SHAPE, dtype=np.float32)
    stripes[:] = 0.3 + 0.2 * np.sin(np.arange(SHAPE[1]) * 0.8)

    assert not find(grain(stripes, 1), grain(stripes, 2)).trusted


@pytest.mark.parametrize(("period", "own"), [(20, 0.0), (32, 0.05), (40, 0.05), (64, 0.05)])
def test_a_pattern_that_repeats_is_not_trusted_with_one_of_its_places(
    period: int, own: float
) -> None:
    """A tile of paint laid again and again, with next to nothing that tells its places apart."""
    laid = np.tile(texture(3, (period, period)), (20, 20))[: SHAPE[0], : SHAPE[1]]
    wall = (laid + np.float32(own) * (texture(4) - np.float32(0.3))).astype(np.float32)

    found = find(grain(wall, 1), grain(shifted(wall, 0.6 * period, 0.4), 2))

    assert not found.trusted
    assert "a pattern repeats" in found.reason


def test_enough_of_its_own_settles_which_place_of_a_pattern_it_is() -> None:
    laid = np.tile(texture(3, (32, 32)), (20, 20))[: SHAPE[0], : SHAPE[1]]
    wall = (laid + np.float32(0.5) * (texture(4) - np.float32(0.3))).astype(np.float32)

    found = find(grain(wall, 1), grain(shifted(wall, 19.2, 0.4), 2))

    assert found.trusted
    assert found.motion.dx == pytest.approx(19.2, abs=0.02)


@pytest.mark.parametrize("shape", [(37, 51), (64, 64), (100, 37), (101, 333), (540, 41)])
def test_small_pictures_answer_honestly(shape: tuple[int, int]) -> None:
    whole, moved = grain(texture(), 1), grain(shifted(texture(), 1.3, 0.4), 2)
    whole, moved = np.tile(whole, (3, 2)), np.tile(moved, (3, 2))

    found = find(whole[40:, 30:][: shape[0], : shape[1]], moved[40:, 30:][: shape[0], : shape[1]])

    assert not np.isnan([found.motion.dx, found.motion.dy, found.sigma_px, found.alarm]).any()
    if found.trusted:
        assert abs(found.motion.dx - 1.3) <= 3 * found.sigma_px
        assert abs(found.motion.dy - 0.4) <= 3 * found.sigma_px


def test_sizes_must_agree() -> None:
    with pytest.raises(LightError, match="differ in size") as caught:
        find(texture(), texture(shape=(256, 300)))
    assert "300 x 256" in str(caught.value)
    assert "320 x 256" in str(caught.value)


def test_both_pictures_must_hold_the_same_detail() -> None:
    with pytest.raises(LightError, match="different detail") as caught:
        register(prepare(texture()), prepare(texture(), band=ACROSS_LIGHTS))
    assert "last box of 2 pixels" in str(caught.value)
    assert "8 pixels as the reference" in str(caught.value)


def test_a_tiny_picture_is_refused_with_its_size() -> None:
    with pytest.raises(LightError, match="too small") as caught:
        prepare(texture(shape=(36, 200)))
    assert "200 x 36" in str(caught.value)


def test_values_that_are_not_finite_are_refused_and_counted() -> None:
    broken = texture()
    broken[3, 4:6] = np.nan
    with pytest.raises(LightError, match="not finite") as caught:
        prepare(broken)
    assert "2 of 81920" in str(caught.value)


def test_a_mask_of_another_size_is_refused() -> None:
    with pytest.raises(LightError, match="another size") as caught:
        prepare(texture(), clipped=np.zeros((256, 300), dtype=np.bool_))
    assert "300 x 256" in str(caught.value)
