"""Pictures are moved by scipy.ndimage.shift, which the project does not use."""

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, shift

from glimsum_workers.frames.overlays import choose_cutouts, find_detail, lay_over, show_places

HEIGHT, WIDTH = 180, 320


def scene(seed: int = 1, dx: float = 0.0) -> NDArray[np.float32]:
    rng = np.random.default_rng(seed)
    soft = gaussian_filter(rng.normal(size=(HEIGHT, WIDTH)), 1.6)
    light = 0.5 + 0.1 * soft / soft.std()
    light = shift(light, (0, dx), order=3, mode="nearest")
    grain = np.random.default_rng(seed + 50).normal(0, 0.002, (HEIGHT, WIDTH, 3))
    return np.asarray(light[..., None] + grain, dtype=np.float32)


def test_pictures_that_lie_on_each_other_are_grey() -> None:
    laid = lay_over(find_detail(scene()), find_detail(0.3 * scene()))
    red, cyan = laid.fringes[..., 0].astype(float), laid.fringes[..., 1].astype(float)
    assert laid.agreement > 0.95
    assert np.abs(red - cyan).mean() < 0.12 * red.mean()


@pytest.mark.parametrize("turned", [1, -1])
def test_a_pixel_of_drift_shows_as_fringes_whatever_the_contrast(turned: int) -> None:
    still = 0.5 + turned * (scene() - 0.5)
    moved = 0.5 + turned * (scene(dx=1.0) - 0.5)
    on = lay_over(find_detail(scene()), find_detail(still))
    off = lay_over(find_detail(scene()), find_detail(moved))
    assert on.agreement > 0.95
    assert off.agreement < 0.85

    def fringe(codes: NDArray[np.uint8]) -> float:
        return float(np.abs(codes[..., 0].astype(float) - codes[..., 1]).mean())

    assert fringe(off.fringes) > 3 * fringe(on.fringes)


def test_nothing_but_noise_is_dark() -> None:
    noise = np.random.default_rng(3).normal(0.5, 0.01, (HEIGHT, WIDTH, 3)).astype(np.float32)
    laid = lay_over(find_detail(noise), find_detail(scene()))
    assert laid.fringes.mean() < 3


def test_cutouts_lie_left_middle_and_right_where_both_show_detail() -> None:
    part = np.full((HEIGHT, WIDTH, 3), 0.5, np.float32)
    part[90:] = scene()[90:]
    detail = find_detail(part + np.random.default_rng(4).normal(0, 0.002, part.shape).astype("f4"))

    cutouts = choose_cutouts(detail, find_detail(scene()))

    assert [cut.letter for cut in cutouts] == ["a", "b", "c"]
    assert all(cut.y >= 80 for cut in cutouts)
    thirds = [cut.x // (WIDTH // 3) for cut in cutouts]
    assert thirds == [0, 1, 2]
    laid = lay_over(detail, detail)
    assert cutouts[0].of(laid.fringes).shape == (90 * 4, 106 * 4, 3)
    assert show_places(laid.fringes, cutouts).shape == (HEIGHT, WIDTH, 3)


def test_pictures_without_common_detail_have_no_cutouts() -> None:
    dark = np.zeros((HEIGHT, WIDTH), np.float32)
    assert choose_cutouts(dark, dark) == []
    assert lay_over(dark, dark).agreement == 0
