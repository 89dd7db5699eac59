"""A field by compiled code puts every sample where the plain way puts it.

The reference is the way by numpy (`mapped`), itself held against exact pictures by
tests/reference/test_resample_truth.py.
"""

import numpy as np
import pytest
from numpy.typing import NDArray

from glimsum_workers.engine.codes import Picture
from glimsum_workers.engine.resample import resample as resampling
from glimsum_workers.engine.resample.quick import Laid
from glimsum_workers.engine.resample.quick_field import lay_field_quickly
from glimsum_workers.engine.resample.resample import resample
from glimsum_workers.engine.resample.ring_limits import find_ring_rule

HEIGHT, WIDTH = 290, 531
TINT = np.array([[1.2, 0.02, -0.01], [0.01, 0.95, 0.01], [0.0, 0.01, 0.7]])


def lit_set(seed: int = 1) -> NDArray[np.float32]:
    """Return waves, noise and lamps, (height, width, 3), some of it negative."""
    random = np.random.default_rng(seed)
    y, x = np.mgrid[:HEIGHT, :WIDTH].astype(np.float64)
    waves = 0.2 + 0.1 * np.sin(x / 3.1 + y / 7) + 0.1 * np.cos(y / 2.7 - x / 11)
    rgb = waves[..., None] * [1.0, 0.8, 0.5] + random.normal(0, 0.003, (HEIGHT, WIDTH, 3))
    for row, column in random.integers(0, 280, (12, 2)):
        rgb[row : row + 3, column : column + 4] = 40
    rgb[:5] -= 0.4
    return np.asarray(rgb, np.float32)


def wandering(size: tuple[int, int] = (HEIGHT, WIDTH), reach: float = 3) -> NDArray[np.float32]:
    """Return a field that bends, with a step as at the edge of something near."""
    y, x = np.mgrid[: size[0], : size[1]]
    field = np.stack([np.sin(x / 40 + y / 90), np.cos(y / 30 - x / 70)], axis=2) * reach
    field[100:180, 200:320] += [1.75, -0.5]
    return field.astype(np.float32)


def plainly(
    rgb: NDArray[np.float32],
    field: NDArray[np.float32],
    monkeypatch: pytest.MonkeyPatch,
) -> resampling.Resampled:
    with monkeypatch.context() as patch:
        patch.setattr(resampling, "is_worth_it", lambda _size: False)
        return resample(Picture(rgb), field)


@pytest.mark.parametrize("reach", [0.0, 3.0, 40.0])
def test_a_field_gives_the_picture_of_the_plain_way(
    reach: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    rgb, field = lit_set(), wandering(reach=reach)

    quick = resample(Picture(rgb), field)

    plain = plainly(rgb, field, monkeypatch)
    # Sums of float32 in another order, of lamps of 40.
    np.testing.assert_allclose(quick.picture.rgb, plain.picture.rgb, atol=5e-5)
    assert np.mean(np.abs(quick.picture.rgb - plain.picture.rgb)) < 1e-6
    assert quick.inside == pytest.approx(plain.inside, abs=1e-12)


def test_another_size_lies_centre_on_centre(monkeypatch: pytest.MonkeyPatch) -> None:
    rgb, field = lit_set(), wandering((350, 401))

    quick = resample(Picture(rgb), field).picture.rgb

    np.testing.assert_allclose(quick, plainly(rgb, field, monkeypatch).picture.rgb, atol=5e-5)


def test_halves_matrices_and_matte_are_those_of_the_plain_way(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    halves, field, ground = lit_set().astype(np.float16), wandering(), lit_set(3)
    halves[50, 60:63, 1] = [np.nan, np.inf, -np.inf]
    planes = (halves[..., 0], halves[..., 1], halves[..., 2])
    finite = np.where(np.isfinite(halves), halves, 0).astype(np.float64)
    mixed = (finite @ TINT.T).astype(np.float32)
    matte = np.random.default_rng(4).random((HEIGHT, WIDTH), dtype=np.float32)
    made = ground.copy()

    laid = Laid(before=TINT, after=0.3 * TINT.T, matte=matte, added=True)
    lay_field_quickly(planes, field, find_ring_rule(mixed), made, laid)

    moved = plainly(mixed, field, monkeypatch).picture.rgb.astype(np.float64)
    expected = ground + (moved @ (0.3 * TINT)) * matte[..., None]
    np.testing.assert_allclose(made, expected, atol=5e-5)


def test_a_ramp_stays_a_ramp() -> None:
    """To float32 rounding, as the taps' moments promise."""
    ramp = np.repeat(np.arange(WIDTH, dtype=np.float32)[None, :, None], HEIGHT, axis=0)
    rgb = np.ascontiguousarray(np.broadcast_to(ramp, (HEIGHT, WIDTH, 3)))
    field = wandering()

    moved = resample(Picture(rgb), field).picture.rgb[..., 1]

    exact = np.arange(WIDTH) + field[..., 0]
    inner = (exact > 8) & (exact < WIDTH - 9)
    np.testing.assert_allclose(moved[inner], exact[inner], atol=2e-6 * WIDTH)
