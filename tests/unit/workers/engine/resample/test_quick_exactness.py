"""How near compiled tiles come to exact taps at every place: the figures their notes state."""

import numpy as np
import pytest
from numpy.typing import NDArray

from glimsum_workers.engine.resample.kernels import interpolation_taps
from glimsum_workers.engine.resample.places import Place
from glimsum_workers.engine.resample.quick import Layer, lay_together

HEIGHT, WIDTH, EDGE = 300, 700, 12


def turned(degrees: float, scale: float, right: float, down: float) -> Place:
    angle = np.deg2rad(degrees)
    cos, sin = scale * np.cos(angle), scale * np.sin(angle)
    return Place(cos, -sin, right, sin, cos, down)


def resample_exactly(plane: NDArray[np.float64], place: Place) -> NDArray[np.float64]:
    """Take rows at the new columns, then along columns: float64, each sample by its own taps."""
    a, b, right, c, d, down = place.numbers()
    lean = b / d
    x, y = np.arange(WIDTH), np.arange(HEIGHT)[:, None]
    across = (a - lean * c) * x + lean * y + right - lean * down
    middle = weigh(plane, np.floor(across), across, axis=1)
    along = c * x + d * y + down
    return weigh(middle, np.floor(along), along, axis=0)


def weigh(
    plane: NDArray[np.float64], base: NDArray[np.float64], place: NDArray[np.float64], axis: int
) -> NDArray[np.float64]:
    taps = interpolation_taps((place - base).ravel()).reshape(8, HEIGHT, WIDTH)
    first = base.astype(np.intp) - 3
    places = [np.clip(first + tap, 0, plane.shape[axis] - 1) for tap in range(8)]
    made = np.zeros((HEIGHT, WIDTH))
    for tap, at in zip(taps, places, strict=True):
        made += tap * np.take_along_axis(plane, at, axis)
    return made


@pytest.mark.parametrize(
    ("place", "most"),
    [
        (turned(0, 1, 0.37, -0.81), 1e-6),
        (turned(0, 1.0005, 0.2, 0.7), 4e-6),
        (turned(0.02, 1.0002, 0.3, 0.4), 4e-6),
        (turned(-0.006, 0.9998, -2.41, 0.77), 4e-6),
        (turned(0.004, 1.0001, 0.31, -0.22), 4e-6),
        # Places that pass a whole pixel within a band of rows.
        (turned(0.1, 1.001, 2.2, 0.9), 2e-5),
    ],
    ids=str,
)
def test_samples_are_as_near_to_exact_ones_as_is_said(place: Place, most: float) -> None:
    # Black and white at random: the most contrast a kernel can meet.
    plane = (np.random.default_rng(5).random((HEIGHT, WIDTH)) < 0.5).astype(np.float32)
    made = np.empty((HEIGHT, WIDTH, 3), np.float32)

    lay_together([Layer(np.repeat(plane[:, :, None], 3, axis=2), place=place)], made, added=False)

    exact = resample_exactly(plane.astype(np.float64), place)
    off = np.abs(made - exact[:, :, None])[EDGE:-EDGE, EDGE:-EDGE]
    assert off.max() < most
    assert np.median(off) < 3e-7
