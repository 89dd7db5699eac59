"""Y'CbCr planes to R'G'B': sizes, places of chroma, and the way back."""

from typing import get_args

import numpy as np
import pytest
from numpy.typing import NDArray

from glimsum_jobs.errors import SourceError
from glimsum_workers.engine.codes import Siting, VideoPlanes
from glimsum_workers.engine.video import rgb_from_planes


def planes_of(
    cb: NDArray[np.uint16], width: int, height: int, siting: Siting = "left"
) -> VideoPlanes:
    luma = np.full((height, width), 512, dtype=np.uint16)
    return VideoPlanes(luma, cb, np.full_like(cb, 512), 10, "bt709", siting)


@pytest.mark.parametrize("siting", get_args(Siting))
@pytest.mark.parametrize(("width", "height"), [(8, 6), (7, 5), (2, 2), (1, 1), (64, 33)])
@pytest.mark.parametrize("halved", [(0, 0), (0, 1), (1, 1), (1, 0)])
def test_flat_chroma_stays_flat_at_every_size(
    siting: Siting, width: int, height: int, halved: tuple[int, int]
) -> None:
    shape = (-(-height // (1 + halved[0])), -(-width // (1 + halved[1])))
    cb = np.full(shape, 600, dtype=np.uint16)

    rgb = rgb_from_planes(planes_of(cb, width, height, siting), "limited")

    assert rgb.shape == (height, width, 3)
    assert np.ptp(rgb, axis=(0, 1)).max() == 0


@pytest.mark.parametrize(
    ("siting", "offset_x", "offset_y"), [("left", 0, 0.5), ("centre", 0.5, 0.5), ("top_left", 0, 0)]
)
def test_chroma_ramp_lies_where_the_siting_says(
    siting: Siting, offset_x: float, offset_y: float
) -> None:
    # A chroma sample k stands at luma place 2 k + offset (H.264 annex E, figure E-1, from
    # memory); a ramp written at those places must come out as the same ramp at every luma place.
    rows, columns = np.mgrid[0:20, 0:24]
    ramp = 300 + 4 * (2 * columns + offset_x) + 6 * (2 * rows + offset_y)
    planes = planes_of(ramp.astype(np.uint16), 48, 40, siting)
    exact = (ramp == ramp.astype(np.uint16)).all()

    blue = rgb_from_planes(planes, "limited")[2:-2, 2:-2, 2]

    y, x = np.mgrid[2:38, 2:46]
    cb = (300 + 4 * x + 6 * y - 512) / 896
    expected = (512 - 64) / 876 + 2 * (1 - 0.0722) * cb
    assert exact
    np.testing.assert_allclose(blue, expected, atol=1e-6)


def test_rows_taken_in_parts_join_without_a_seam() -> None:
    rng = np.random.default_rng(4)
    luma = rng.integers(0, 1024, (70, 10)).astype(np.uint16)
    cb = rng.integers(0, 1024, (35, 5)).astype(np.uint16)
    cr = rng.integers(0, 1024, (35, 5)).astype(np.uint16)
    whole = rgb_from_planes(VideoPlanes(luma, cb, cr, 10, "bt2020"), "full")

    lower = rgb_from_planes(VideoPlanes(luma[14:], cb[7:], cr[7:], 10, "bt2020"), "full")

    np.testing.assert_array_equal(whole[16:], lower[2:])


def test_chroma_of_another_size_is_refused_with_both_sizes() -> None:
    cb = np.full((4, 3), 512, dtype=np.uint16)

    with pytest.raises(SourceError, match=r"seen: 3 x 4 beside luma 12 x 4; expected: full or"):
        rgb_from_planes(planes_of(cb, 12, 4), "limited")
