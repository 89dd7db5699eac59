"""Mattes from pictures and from a lit backing."""

import numpy as np
import pytest

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.codes import Picture
from glimsum_workers.engine.mattes.backing import matte_from_backing
from glimsum_workers.engine.mattes.picture import matte_from_picture


def flat(value: float, size: tuple[int, int] = (10, 20)) -> np.ndarray:
    return np.full((*size, 3), value, dtype=np.float32)


def test_coverage_of_a_set_before_a_backing_comes_back() -> None:
    # S = a B + (1 - a) W is the definition of coverage a for a set without light of its own.
    random = np.random.default_rng(0)
    coverage = random.random((10, 20)).astype(np.float32)
    white = flat(0.8) + random.random((10, 20, 3)).astype(np.float32) * 0.2
    black = flat(0.01)
    seen = coverage[..., None] * black + (1 - coverage[..., None]) * white

    matte = matte_from_backing(seen.astype(np.float32), white, black)

    np.testing.assert_allclose(matte.weight, coverage, atol=1e-6)
    assert matte.unlit == 0
    assert matte.weight.dtype == np.float32


def test_weights_outside_are_clamped_and_counted() -> None:
    seen = flat(0.5)
    seen[0, :3] = 1.1
    seen[1, :2] = -0.1

    matte = matte_from_backing(seen, flat(1.0))

    assert matte.clamped == 5
    assert (matte.weight[0, 0], matte.weight[1, 0], matte.weight[5, 5]) == (0.0, 1.0, 0.5)


def test_where_the_backing_does_not_reach_the_set_is_kept() -> None:
    white = flat(1.0)
    white[:, :4] = 0.01

    matte = matte_from_backing(flat(0.25), white, flat(0.01))

    assert matte.unlit == 40
    assert matte.weight[:, :4].min() == 1.0
    np.testing.assert_allclose(matte.weight[:, 4:], 1 - 0.24 / 0.99, rtol=1e-5)


def test_backing_no_brighter_than_black_is_refused() -> None:
    white = flat(0.01)
    white[:, :4] = 1.0

    with pytest.raises(LightError, match=r"seen: W <= B, or nearly, on 80.0 % of the pixels"):
        matte_from_backing(flat(0.2), white, flat(0.01))
    with pytest.raises(LightError, match=r"seen: 19 x 10 pixels; expected: 20 x 10 pixels"):
        matte_from_backing(flat(0.2), white[:, 1:])


def test_channel_of_a_picture_is_a_matte() -> None:
    rgb = flat(0.0)
    rgb[..., 0], rgb[..., 1], rgb[..., 2] = 0.2, 0.4, 1.2
    alpha = np.full((10, 20), 0.7, dtype=np.float32)

    assert matte_from_picture(Picture(rgb, alpha), "alpha").weight[0, 0] == np.float32(0.7)
    assert matte_from_picture(Picture(rgb), "green").weight[0, 0] == np.float32(0.4)
    blue = matte_from_picture(Picture(rgb), "blue")
    assert (blue.weight[0, 0], blue.clamped) == (1.0, 200)
    # ITU-R BT.709: 0.2126 * 0.2 + 0.7152 * 0.4 + 0.0722 * 1.2.
    assert matte_from_picture(Picture(rgb)).weight[0, 0] == pytest.approx(0.41524)
    with pytest.raises(LightError, match=r"no alpha; seen: R, G, B; expected: R, G, B, A"):
        matte_from_picture(Picture(rgb), "alpha")
