import numpy as np
import pytest

from glimsum_workers.engine.ambient import smooth_ambient
from glimsum_workers.engine.scaling import enlarge_picture, reduce_picture


def ramp(height: int, width: int) -> np.ndarray:
    x = np.arange(width, dtype=np.float32) + 0.5
    y = np.arange(height, dtype=np.float32)[:, None] + 0.5
    return np.stack([x + 0 * y, 2 * y + 0 * x, x + y], axis=2).astype(np.float32)


def test_a_block_becomes_its_mean() -> None:
    picture = np.arange(2 * 4 * 3, dtype=np.float32).reshape(2, 4, 3)
    assert reduce_picture(picture, 2)[0, 0].tolist() == picture[:2, :2].mean(axis=(0, 1)).tolist()


def test_odd_sizes_repeat_their_edge() -> None:
    assert reduce_picture(np.ones((37, 51, 3), np.float32), 4).shape == (10, 13, 3)
    assert np.all(reduce_picture(np.ones((37, 51, 3), np.float32), 4) == 1)


@pytest.mark.parametrize("factor", [2, 3, 4])
def test_a_ramp_comes_back_as_a_ramp_inside_its_edges(factor: int) -> None:
    picture = ramp(48, 60)
    back = enlarge_picture(reduce_picture(picture, factor), 48, 60, factor)
    inner = slice(factor, -factor)
    assert np.abs(back - picture)[inner, inner].max() < 1e-4


def test_a_large_ambient_is_smoothed_like_a_small_one() -> None:
    noise = np.random.default_rng(5).normal(0, 0.0006, (3, 400, 1920, 3))
    frames = list((ramp(400, 1920) * 1e-6 + noise).astype(np.float32))

    smooth = smooth_ambient(frames, 1)

    error = (smooth - ramp(400, 1920) * 1e-6)[20:-20, 20:-20]
    assert smooth.shape == (400, 1920, 3)
    assert error.std() < 0.1 * 0.0006
