"""Steps on the ground: whole pictures, strips, refusals."""

from typing import get_args

import numpy as np
import pytest

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.blends import Operator, blend_alpha, blend_channel
from glimsum_workers.engine.codes import Picture
from glimsum_workers.engine.combine import combine_step, lay_ground

TINT = np.array([[1.2, 0.02, -0.01], [0.01, 0.95, 0.01], [0.0, 0.01, 0.7]])


def picture(seed: int, size: tuple[int, int] = (300, 700)) -> Picture:
    random = np.random.default_rng(seed)
    alpha = random.random(size, dtype=np.float32)
    return Picture(random.random((*size, 3), dtype=np.float32) * alpha[..., None], alpha)


@pytest.mark.parametrize("operator", get_args(Operator))
def test_strips_give_what_the_whole_picture_gives(operator: Operator) -> None:
    ground, source = picture(1), picture(2)
    assert ground.alpha is not None
    assert source.alpha is not None
    matte = picture(3).alpha
    assert matte is not None
    before = (ground.rgb.copy(), ground.alpha.copy(), source.rgb.copy())

    combine_step(ground, source, operator, matrix=TINT, matte=matte, refuse=False)

    weighed = (source.rgb.astype(np.float64) @ TINT.T * matte[..., None]).astype(np.float32)
    for channel in range(3):
        expected = blend_channel(
            operator,
            weighed[..., channel],
            before[0][..., channel],
            source.alpha * matte,
            before[1],
        )
        np.testing.assert_allclose(ground.rgb[..., channel], expected, atol=1e-6)
    expected_alpha = blend_alpha(operator, source.alpha * matte, before[1])
    np.testing.assert_allclose(ground.alpha, expected_alpha, atol=1e-7)
    assert ground.alpha.min() >= 0
    assert ground.alpha.max() <= 1
    np.testing.assert_array_equal(source.rgb, before[2])


@pytest.mark.parametrize("operator", get_args(Operator))
def test_no_alpha_is_an_alpha_of_one(operator: Operator) -> None:
    bare = Picture(picture(2).rgb)
    whole = Picture(bare.rgb, np.ones((300, 700), dtype=np.float32))
    first, second = picture(1), picture(1)

    combine_step(first, bare, operator, refuse=False)
    combine_step(second, whole, operator, refuse=False)

    np.testing.assert_allclose(first.rgb, second.rgb, atol=1e-7)
    np.testing.assert_array_equal(first.alpha, second.alpha)


@pytest.mark.parametrize("operator", get_args(Operator))
def test_source_of_nothing_changes_only_what_in_and_out_cut(operator: Operator) -> None:
    ground, before = picture(1), picture(1)
    nothing = lay_ground(300, 700)

    combine_step(ground, nothing, operator)

    if operator in ("in", "out"):
        assert not ground.rgb.any()
    else:
        np.testing.assert_allclose(ground.rgb, before.rgb, atol=1e-7)


def test_same_step_from_eight_threads_gives_the_same_bits() -> None:
    from concurrent.futures import ThreadPoolExecutor

    def run(_: int) -> bytes:
        ground = lay_ground(300, 700)
        combine_step(ground, picture(2), matrix=TINT)
        return ground.rgb.tobytes()

    with ThreadPoolExecutor(8) as pool:
        assert len(set(pool.map(run, range(8)))) == 1


def test_screen_is_refused_above_one_and_the_ground_stays() -> None:
    ground, source = picture(1), picture(2)
    before = ground.rgb.copy()
    bright = np.eye(3) * 8.0

    with pytest.raises(LightError, match=r"source holds it; seen: p99.9 7.9\d+; expected: at mo"):
        combine_step(ground, source, "screen", matrix=bright)
    np.testing.assert_array_equal(ground.rgb, before)
    combine_step(ground, source, "screen", matrix=bright, refuse=False)
    with pytest.raises(LightError, match=r"the ground holds it; seen: p99.9 \d"):
        combine_step(ground, source, "screen")


@pytest.mark.parametrize("operator", ["screen", "multiply"])
def test_negative_light_is_refused_and_negative_noise_is_not(operator: Operator) -> None:
    source = Picture(np.full((80, 80, 3), -0.05, dtype=np.float32))
    noise = 0.001 * np.random.default_rng(0).standard_normal((80, 80, 3))

    with pytest.raises(LightError, match=rf"`{operator}`.*negative.*seen: p0.1 -0.05; expected"):
        combine_step(lay_ground(80, 80), source, operator)
    combine_step(lay_ground(80, 80), Picture(noise.astype(np.float32)), operator)


def test_multiply_takes_light_above_one() -> None:
    source = Picture(np.full((4, 4, 3), 3.0, dtype=np.float32))
    ground = Picture(np.full((4, 4, 3), 0.5, np.float32), np.ones((4, 4), np.float32))

    combine_step(ground, source, "multiply")

    np.testing.assert_array_equal(ground.rgb, np.float32(1.5))


def test_what_does_not_fit_is_named() -> None:
    ground = lay_ground(8, 10)
    source = Picture(np.zeros((8, 10, 3), dtype=np.float32))

    with pytest.raises(LightError, match=r"source.*seen: 10 x 7 pixels; expected: 10 x 8 pixels"):
        combine_step(ground, Picture(source.rgb[:7]))
    with pytest.raises(LightError, match=r"matte.*seen: 9 x 8 pixels; expected: 10 x 8 pixels"):
        combine_step(ground, source, matte=np.zeros((8, 9), dtype=np.float32))
    with pytest.raises(LightError, match=r"not finite; seen: \[\[nan"):
        combine_step(ground, source, matrix=np.full((3, 3), np.nan))
    with pytest.raises(LightError, match=r"ground has no alpha"):
        combine_step(source, source)
