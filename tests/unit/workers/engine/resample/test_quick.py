"""Compiled tiles put every sample where the plain way puts it.

The reference is the way by numpy (`mapped`, `shifted`), itself held against exact pictures by
tests/reference/test_resample_truth.py; half floats against numpy's (IEEE 754-2019, binary16).
"""

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.codes import Picture
from glimsum_workers.engine.motion import Affine, Motion
from glimsum_workers.engine.resample import resample as resampling
from glimsum_workers.engine.resample.places import Place
from glimsum_workers.engine.resample.quick import (
    Laid,
    Layer,
    lay_quickly,
    lay_together,
    survey_quickly,
)
from glimsum_workers.engine.resample.resample import resample
from glimsum_workers.engine.resample.ring_limits import find_ring_rule

HEIGHT, WIDTH = 310, 540
TINT = np.array([[1.2, 0.02, -0.01], [0.01, 0.95, 0.01], [0.0, 0.01, 0.7]])
MOTIONS: list[Motion | Affine] = [
    Motion(1.37, -0.62),
    Motion(-0.5, 0.0),
    Motion(2.0, 0.25),
    Motion(1.37, -0.62, 0.01, 1.0003),
    Motion(-2.2, 1.1, 0.3, 1.004),
    Motion(3.1, 1.4, -0.9, 0.97),
    Motion(0.0, 0.0, 0.0, 0.5),
    Motion(5.3, -6.2, 0.02, 1.0),
    Affine(0.4, -0.3, ((1.0013, 0.003), (0.02, 0.998))),
]


def lit_set(seed: int = 1) -> NDArray[np.float32]:
    """Return waves, noise and lamps, (height, width, 3), some of it negative."""
    random = np.random.default_rng(seed)
    y, x = np.mgrid[:HEIGHT, :WIDTH].astype(np.float64)
    waves = 0.2 + 0.1 * np.sin(x / 3.1 + y / 7) + 0.1 * np.cos(y / 2.7 - x / 11)
    rgb = waves[..., None] * [1.0, 0.8, 0.5] + random.normal(0, 0.003, (HEIGHT, WIDTH, 3))
    for row, column in random.integers(20, 280, (12, 2)):
        rgb[row : row + 3, column : column + 4] = 40
    rgb[:5] -= 0.4
    return np.asarray(rgb, np.float32)


def plainly(
    rgb: NDArray[np.float32], motion: Motion | Affine, monkeypatch: pytest.MonkeyPatch
) -> NDArray[np.float32]:
    with monkeypatch.context() as patch:
        patch.setattr(resampling, "is_worth_it", lambda _size: False)
        return resample(Picture(rgb), motion).picture.rgb


def inside(motion: Motion | Affine) -> NDArray[np.bool_]:
    """Return the new samples whose kernel lies within the source: (height, width).

    Beyond an edge the plain way holds places at the kernel's reach, and leans from there.
    """
    place = place_of(motion)
    x, y = np.arange(WIDTH), np.arange(HEIGHT)[:, None]
    across = place.a * x + place.b * y + place.right
    along = place.c * x + place.d * y + place.down
    within = (across > 4) & (across < WIDTH - 5) & (along > 4) & (along < HEIGHT - 5)
    assert within.mean() > 0.6
    return np.asarray(within, np.bool_)


def place_of(motion: Motion | Affine) -> Place:
    size = HEIGHT, WIDTH
    return Place.of(motion.turn(), np.array([motion.dx, motion.dy]), size, size)


@pytest.mark.parametrize("motion", MOTIONS, ids=str)
def test_tiles_give_the_picture_of_the_plain_way(
    motion: Motion | Affine, monkeypatch: pytest.MonkeyPatch
) -> None:
    rgb = lit_set()
    assert place_of(motion).is_quick

    quick = resample(Picture(rgb), motion)

    plain = plainly(rgb, motion, monkeypatch)
    # Taps on straight lines and cubics: below 8e-6 of the contrast, 40 here.
    within = inside(motion)
    np.testing.assert_allclose(quick.picture.rgb[within], plain[within], atol=8e-6 * 40)
    assert np.mean(np.abs(quick.picture.rgb - plain)[within]) < 1e-6


@pytest.mark.parametrize("motion", MOTIONS, ids=str)
def test_the_share_inside_is_counted_alike(
    motion: Motion | Affine, monkeypatch: pytest.MonkeyPatch
) -> None:
    rgb = lit_set()

    quick = resample(Picture(rgb), motion).inside

    monkeypatch.setattr(resampling, "is_worth_it", lambda _size: False)
    assert quick == resample(Picture(rgb), motion).inside


@pytest.mark.parametrize("motion", MOTIONS, ids=str)
def test_matrices_and_matte_are_those_of_float64(
    motion: Motion | Affine, monkeypatch: pytest.MonkeyPatch
) -> None:
    rgb, ground = lit_set(2), lit_set(3)
    matte = np.random.default_rng(4).random((HEIGHT, WIDTH), dtype=np.float32)
    mixed = (rgb.astype(np.float64) @ TINT.T).astype(np.float32)
    made = ground.copy()

    rule = find_ring_rule(mixed)
    laid = Laid(before=TINT, after=TINT.T * 0.3, matte=matte, added=True)
    lay_quickly(rgb, place_of(motion), rule, made, laid)

    moved = plainly(mixed, motion, monkeypatch).astype(np.float64)
    expected = ground + matte[..., None] * (moved @ TINT * 0.3)
    within = inside(motion)
    np.testing.assert_allclose(made[within], expected[within], atol=8e-6 * 40, rtol=2e-6)


def test_pictures_laid_together_have_the_bits_of_those_laid_one_by_one() -> None:
    """More than one walk takes, moved and still, halves and floats, with matte and matrices."""
    matte = np.random.default_rng(4).random((HEIGHT, WIDTH), dtype=np.float32)
    layers = []
    for index, motion in enumerate(MOTIONS):
        rgb = lit_set(index)
        halves = rgb.astype(np.float16)
        planes = (halves[..., 0], halves[..., 1], halves[..., 2])
        layers.append(
            Layer(
                planes if index % 2 else rgb,
                TINT if index % 3 == 0 else None,
                None if index % 3 == 1 else TINT.T * 0.3,
                matte if index % 4 == 0 else None,
                None if index in {1, 5} else place_of(motion),
                find_ring_rule(rgb) if index % 2 == 0 else None,
            )
        )
    together = np.full((HEIGHT, WIDTH, 3), np.nan, np.float32)
    one_by_one = np.zeros_like(together)
    kept = np.zeros_like(together)

    lay_together(layers, together, added=False)
    for each in layers:
        lay_together([each], one_by_one)
        between = np.zeros_like(together)
        lay_together([replace(each, after=None, matte=None)], between)
        lay_together([Layer(between, None, each.after, each.matte)], kept)

    np.testing.assert_array_equal(together, one_by_one)
    np.testing.assert_array_equal(together, kept)


def test_a_picture_of_a_turned_camera_doesn_t_join_at_bands() -> None:
    """A ramp down the picture stays one across the rows where bands of a tile meet.

    Four sums of products are subtracted, each rounded to some steps of float32.
    """
    ramp = np.repeat(np.arange(HEIGHT, dtype=np.float32)[:, None, None], WIDTH, axis=1)
    rgb = np.ascontiguousarray(np.broadcast_to(ramp, (HEIGHT, WIDTH, 3)))

    moved = resample(Picture(rgb), Motion(0.3, 0.4, 0.9, 1.004)).picture.rgb

    inner = moved[20:-20, 20:-20, 0]
    assert np.abs(np.diff(inner, n=2, axis=0)).max() < 2e-6 * HEIGHT


def test_a_motion_beyond_all_numbers_gives_the_plain_picture(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    rgb, far = lit_set(), Motion(1e19, 0.3, 0.01)
    assert not place_of(far).is_quick

    np.testing.assert_array_equal(
        resample(Picture(rgb), far).picture.rgb, plainly(rgb, far, monkeypatch)
    )


@pytest.mark.parametrize("what", ["source", "matte"])
def test_what_is_smaller_than_the_target_is_refused_before_anything_is_laid(what: str) -> None:
    rgb, target = lit_set(), np.zeros((HEIGHT, WIDTH, 3), np.float32)
    small = np.ones((HEIGHT - 1, WIDTH), np.float32)
    layer = Layer(rgb[1:]) if what == "source" else Layer(rgb, matte=small)

    with pytest.raises(LightError, match=rf"{WIDTH} x {HEIGHT - 1} pixels.*{WIDTH} x {HEIGHT}"):
        lay_together([Layer(rgb), layer], target)

    np.testing.assert_array_equal(target, 0)


def test_halves_are_read_as_what_they_are() -> None:
    rgb = lit_set().astype(np.float16)
    rgb[100, 100:103, 0] = [np.nan, np.inf, -np.inf]
    rgb[50, :, 1] = np.arange(WIDTH).astype(np.float16) * np.float16(6e-8)
    finite = np.where(np.isfinite(rgb), rgb, 0).astype(np.float32)
    planes = (rgb[..., 0], rgb[..., 1], rgb[..., 2])
    place, rule = place_of(MOTIONS[3]), find_ring_rule(finite)
    made, expected = np.empty_like(finite), np.empty_like(finite)

    lay_quickly(planes, place, rule, made, Laid())
    lay_quickly(finite, place, rule, expected, Laid())

    np.testing.assert_array_equal(made, expected)


@pytest.mark.parametrize(("height", "width"), [(310, 540), (7, 257), (4, 3), (33, 1030)])
@pytest.mark.parametrize("before", [None, np.diag([0.5, 2, 3]), TINT], ids=["as is", "gains", "m"])
def test_lamps_are_found_alike(height: int, width: int, before: NDArray[np.float64] | None) -> None:
    rgb = np.tile(lit_set(), (1, 2, 1))[:height, :width].astype(np.float16)
    rgb[1, 1], rgb[-1, -1, 2] = [np.nan, np.inf, -np.inf], np.nan
    mixed = np.where(np.isfinite(rgb), rgb, 0).astype(np.float32)
    mixed = mixed if before is None else (mixed @ before.T.astype(np.float32)).astype(np.float32)

    quick, unfinite = survey_quickly((rgb[..., 0], rgb[..., 1], rgb[..., 2]), before)

    assert unfinite == 4
    plain = find_ring_rule(mixed)
    assert quick.floor == pytest.approx(plain.floor, rel=1e-5)
    # Products are summed in another order: a block at the very threshold may change sides.
    assert np.mean(quick.lamps != plain.lamps) < 1e-3


@pytest.mark.parametrize("by", ["processor", "integers"])
def test_every_half_is_unpacked_and_packed_exactly(by: str) -> None:
    from glimsum_workers.engine.compiled import halves as conversions
    from glimsum_workers.engine.compiled.kernel import numba

    unpack, pack = conversions.unpack_by_integers, conversions.pack_by_integers
    if by == "processor":
        unpack, pack = conversions.unpack, conversions.pack
        if unpack is conversions.unpack_by_integers:
            pytest.skip("this processor has no conversion of its own")

    def both(bits, values, back, near, given):  # type: ignore[no-untyped-def]  # compiled
        for i in range(bits.size):
            values[i] = unpack(bits[i])
            back[i] = pack(values[i])
        for i in range(given.size):
            near[i] = pack(given[i])

    bits = np.arange(1 << 16, dtype=np.uint16).view(np.int16)
    halves = bits.view(np.float16)
    random = np.random.default_rng(1)
    given = (random.standard_normal(200_000) * 2.0 ** random.integers(-30, 15, 200_000)).astype(
        np.float32
    )
    edges = halves[np.isfinite(halves)].astype(np.float32)
    given = np.concatenate([given, edges, (edges[1:] + edges[:-1]) / 2]).astype(np.float32)
    values, back = np.empty(1 << 16, np.float32), np.empty(1 << 16, np.int16)
    near = np.empty(given.size, np.int16)

    numba.njit(both)(bits, values, back, near, given)

    finite = np.isfinite(halves)
    np.testing.assert_array_equal(values[finite], halves[finite].astype(np.float32))
    np.testing.assert_array_equal(values[~finite], 0)
    np.testing.assert_array_equal(back[finite], bits[finite])
    exact = np.clip(given, -65504, 65504).astype(np.float16)
    np.testing.assert_array_equal(near, exact.view(np.int16))


def test_a_picture_that_can_only_be_read_is_taken() -> None:
    rgb = lit_set()
    rgb.flags.writeable = False

    moved = resample(Picture(rgb), MOTIONS[3]).picture.rgb

    assert moved.shape == rgb.shape


def test_no_tile_joins_at_a_seam() -> None:
    """A ramp stays a ramp across the columns where tiles meet, to float32 rounding."""
    ramp = np.repeat(np.arange(WIDTH, dtype=np.float32)[None, :, None], HEIGHT, axis=0)
    rgb = np.ascontiguousarray(np.broadcast_to(ramp, (HEIGHT, WIDTH, 3)))

    moved = resample(Picture(rgb), Motion(0.3, 0.4, 0.02, 1.0002)).picture.rgb

    inner = moved[20:-20, 20:-20, 0]
    assert np.abs(np.diff(inner, n=2, axis=1)).max() < 1e-6 * WIDTH
