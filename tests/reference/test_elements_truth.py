"""Elements held against continuous scenes, SciPy and OpenImageIO warps, and Porter & Duff."""

import numpy as np
import OpenImageIO
import pytest
from numpy.typing import NDArray
from scipy import ndimage

from glimsum_workers.engine.codes import Picture
from glimsum_workers.engine.combine import combine_step, lay_ground
from glimsum_workers.engine.elements.lay import lay_element
from glimsum_workers.engine.elements.placing import placing_matrix

Array = NDArray[np.float64]
HEIGHT, WIDTH = 160, 200
SIZE = (180, 240)


class Waves:
    """A continuous scene: a sum of waves, known at every point, with no detail above `finest`."""

    def __init__(self, seed: int, finest: float) -> None:
        draw = np.random.default_rng(seed)
        frequency, angle = draw.uniform(0.01, finest, 60), draw.uniform(0, 2 * np.pi, 60)
        self.waves = frequency * np.cos(angle), frequency * np.sin(angle)
        self.phase = draw.uniform(0, 2 * np.pi, 60)
        self.height = 0.3 / np.sqrt(60 / 2)

    def at(self, x: Array, y: Array) -> Array:
        total = np.ones(np.broadcast(x, y).shape)
        for u, v, phase in zip(*self.waves, self.phase, strict=True):
            total += self.height * np.cos(2 * np.pi * (u * x + v * y) + phase)
        return total


def sampled(scene: Waves) -> NDArray[np.float32]:
    rows, columns = np.indices((HEIGHT, WIDTH)) + 0.5
    return np.repeat(scene.at(columns, rows)[..., None], 3, axis=2).astype(np.float32)


def source_places(matrix: Array) -> tuple[Array, Array]:
    rows, columns = np.indices(SIZE) + 0.5
    back = np.linalg.inv(matrix)
    x, y, depth = np.einsum("ij,jhw->ihw", back, np.stack([columns, rows, np.ones(SIZE)]))
    return x / depth, y / depth


def inside(x: Array, y: Array, border: float = 16) -> NDArray[np.bool_]:
    within = (x > border) & (x < WIDTH - border) & (y > border) & (y < HEIGHT - border)
    assert within.sum() > 1000
    return within


def error_of(made: NDArray[np.floating], truth: Array, where: NDArray[np.bool_]) -> float:
    return float(np.sqrt(np.mean((made[where] - truth[where]) ** 2)))


PLACES = {
    "shift": placing_matrix(12.37, 5.81, 1, 0, (0, 0)),
    "turn": placing_matrix(110.2, 90.7, 1, 23, (100, 80)),
    "larger": placing_matrix(110.2, 90.7, 1.6, -8, (100, 80)),
    "homography": np.array([[0.95, 0.08, 12], [-0.05, 0.9, 15], [4e-4, -3e-4, 1]]),
}


# Truth: the continuous scene itself, read at the places the matrix tells. Beside it SciPy's spline
# of order 3 and OpenImageIO's warp with its Lanczos filter, each fed the same samples.
@pytest.mark.parametrize("place", PLACES)
def test_a_placed_element_shows_the_scene_at_least_as_well_as_scipy_and_openimageio(
    place: str,
) -> None:
    scene, matrix = Waves(5, 0.3), PLACES[place]
    picture = sampled(scene)
    x, y = source_places(matrix)
    where, truth = inside(x, y), scene.at(x, y)

    laid = lay_element(Picture(picture), matrix, SIZE)

    assert laid is not None
    ours = error_of(laid.rgb[..., 1], truth, where)
    spline = ndimage.map_coordinates(
        picture[..., 1].astype(np.float64), [y - 0.5, x - 0.5], order=3
    )
    assert ours < 0.003
    assert ours < error_of(spline, truth, where)
    assert ours < error_of(warped_by_openimageio(picture, matrix)[..., 1], truth, where)


def warped_by_openimageio(picture: NDArray[np.float32], matrix: Array) -> NDArray[np.float32]:
    source = OpenImageIO.ImageBuf(OpenImageIO.ImageSpec(WIDTH, HEIGHT, 3, "float"))
    source.set_pixels(OpenImageIO.ROI(), picture)
    region = OpenImageIO.ROI(0, SIZE[1], 0, SIZE[0], 0, 1, 0, 3)
    # Its matrices multiply rows from the right.
    rows = matrix.T.ravel().tolist()
    made = OpenImageIO.ImageBufAlgo.warp(source, rows, "lanczos3", 0.0, False, "clamp", roi=region)
    assert not made.has_error, made.geterror()
    return np.asarray(made.get_pixels(OpenImageIO.FLOAT, region), np.float32)


# Truth: a grating of 0 and 1 from column to column has no wave that fits into fewer pixels: what
# is left of it when it is made smaller is its mean (Nyquist; Shannon 1949).
@pytest.mark.parametrize("scale", [0.8, 0.5, 0.3, 0.15])
@pytest.mark.parametrize("rotation", [0.0, 20.0])
def test_made_smaller_fine_detail_turns_to_its_mean_and_does_not_fold_over(
    scale: float, rotation: float
) -> None:
    grating = np.indices((HEIGHT, WIDTH))[1] % 2
    picture = np.repeat(grating[..., None], 3, axis=2).astype(np.float32)
    matrix = placing_matrix(120.3, 90.1, scale, rotation, (100, 80))
    x, y = source_places(matrix)
    where = (np.abs(x - 100) < 100 - 4 / scale) & (np.abs(y - 80) < 80 - 4 / scale)

    laid = lay_element(Picture(picture), matrix, SIZE)

    assert laid is not None
    folded = laid.rgb[..., 0][where]
    assert folded.mean() == pytest.approx(0.5, abs=0.004)
    if scale <= 0.5:
        assert folded.std() < 0.03  # taken without a filter it would be 0.5


@pytest.mark.parametrize("scale", [1.0, 0.9, 0.7, 0.5, 0.37, 0.25, 0.11, 1.8])
@pytest.mark.parametrize("rotation", [0.0, 1.0, 17.0, 45.0])
def test_light_goes_with_the_area_however_an_element_is_scaled(
    scale: float, rotation: float
) -> None:
    draw = np.random.default_rng(7)
    picture = ndimage.gaussian_filter(draw.normal(size=(80, 100, 3)), (1.5, 1.5, 0)) + 0.4
    picture = picture.astype(np.float32)
    picture[draw.integers(5, 75, 30), draw.integers(5, 95, 30)] += 20

    laid = lay_element(
        Picture(picture), placing_matrix(130.3, 131.7, scale, rotation, (50, 40)), (260, 260)
    )

    assert laid is not None
    total = laid.rgb.sum(dtype=np.float64) / picture.sum(dtype=np.float64)
    assert total == pytest.approx(scale**2, rel=5e-4)


def stars() -> NDArray[np.float32]:
    draw = np.random.default_rng(3)
    picture = np.zeros((40, 60, 3), np.float32)
    picture[draw.integers(4, 36, 25), draw.integers(4, 56, 25)] = draw.uniform(0.1, 50, (25, 3))
    return picture


# Independent of the code: light is neither made nor lost by a shift, and its centre moves along.
def test_stars_neither_twinkle_nor_jump_over_500_shifts() -> None:
    picture = stars()
    light = picture[..., 1].astype(np.float64)
    rows, columns = np.indices((40, 60)) + 0.5
    centre = (light * columns).sum() / light.sum(), (light * rows).sum() / light.sum()
    big_rows, big_columns = np.indices((60, 80)) + 0.5
    seen = set()
    for step in range(500):
        right, down = 8 + 2.7 * step / 500, 6 + (step * 0.61803) % 1

        laid = lay_element(Picture(picture), placing_matrix(right, down, 1, 0, (0, 0)), (60, 80))

        assert laid is not None
        made = laid.rgb[..., 1].astype(np.float64)
        total = made.sum()
        assert total == pytest.approx(light.sum(), rel=1e-6)
        found = (made * big_columns).sum() / total, (made * big_rows).sum() / total
        assert found == pytest.approx((centre[0] + right, centre[1] + down), abs=1e-4)
        assert made.min() >= 0
        seen.add(laid.rgb.tobytes())
    assert len(seen) == 500


def test_a_picture_moves_evenly_over_500_shifts() -> None:
    scene = Waves(9, 0.3)
    picture = sampled(scene)[:60, :80]
    rows, columns = np.indices((80, 110)) + 0.5
    for step in range(500):
        right = 10 + 3 * step / 500
        matrix = placing_matrix(right, 7.25, 1, 0, (0, 0))

        laid = lay_element(Picture(picture), matrix, (80, 110))

        assert laid is not None
        middle = np.s_[25:50, 30:70]
        truth = scene.at(columns[middle] - right, rows[middle] - 7.25)
        error = np.abs(laid.rgb[middle][..., 0] - truth)
        assert np.sqrt(np.mean(error**2)) < 0.003
        assert error.max() < 0.03


# Porter & Duff 1984, table of operators, on premultiplied numbers worked by hand: an element of
# light 0.6 and coverage 0.5 laid over a ground of 0.2, moved by half a pixel at its border.
def test_a_border_half_in_a_pixel_is_laid_over_as_porter_and_duff_say() -> None:
    element = Picture(np.full((10, 10, 3), 0.6, np.float32), np.full((10, 10), 0.5, np.float32))
    ground = lay_ground(30, 30)
    combine_step(ground, Picture(np.full((30, 30, 3), 0.2, np.float32)), "plus")

    laid = lay_element(element, placing_matrix(10.5, 10, 1, 0, (0, 0)), (30, 30))

    assert laid is not None
    combine_step(ground, laid, "over")
    # left of it: 0.2; its border: 0.3 + (1 - 0.25) * 0.2; inside: 0.6 + (1 - 0.5) * 0.2
    np.testing.assert_allclose(ground.rgb[15, 9:12, 0], [0.2, 0.45, 0.7], rtol=1e-6)
    assert ground.alpha is not None
    np.testing.assert_allclose(ground.alpha, 1, rtol=1e-6)
