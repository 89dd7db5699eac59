from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image
from skimage.transform import downscale_local_mean

from glimsum_jobs.errors import OutputError
from glimsum_workers.frames.previews import encode_picture, shrink, write_preview
from glimsum_workers.frames.sheets import Labelled, draw_sheet, write_sheet

LIGHT = np.random.default_rng(2).gamma(0.5, 1.0, (54, 96, 3)).astype(np.float32) - np.float32(0.02)


def block_means(image: NDArray[np.floating], high: int, wide: int) -> NDArray[np.float64]:
    means = downscale_local_mean(image.astype(np.float64), (high, wide, 1))  # type: ignore[no-untyped-call]  # the library has no types here
    return np.asarray(means, np.float64)


@pytest.mark.parametrize("ratio", [2, 3])
def test_whole_ratios_are_the_mean_of_their_blocks(ratio: int) -> None:
    # scikit-image, downscale_local_mean.
    expected = block_means(LIGHT, ratio, ratio)

    np.testing.assert_allclose(shrink(LIGHT, 96 // ratio), expected, atol=2e-6)


@pytest.mark.parametrize(
    ("size", "width"), [((54, 96), 37), ((53, 97), 40), ((7, 5), 4), ((9, 640), 1)]
)
def test_any_ratio_is_the_mean_of_the_area(size: tuple[int, int], width: int) -> None:
    image = np.resize(LIGHT, (*size, 3))
    small = shrink(image, width)

    # By hand: repeat each pixel until the new size divides, then take means of whole blocks.
    height = small.shape[0]
    fine = image.astype(np.float64).repeat(height, axis=0).repeat(width, axis=1)
    expected = block_means(fine, size[0], size[1])
    assert abs(height - size[0] * width / size[1]) <= 0.5 or height == 1
    np.testing.assert_allclose(small, expected, atol=3e-6)


def test_the_mean_of_the_light_stays_and_negative_noise_too() -> None:
    small = shrink(LIGHT, 41)

    np.testing.assert_allclose(small.mean(), LIGHT.mean(), rtol=1e-5)
    assert float(shrink(np.full((8, 8, 3), -0.25, np.float32), 3).max()) == -0.25


def test_a_picture_is_never_enlarged() -> None:
    assert shrink(LIGHT, 500) is LIGHT


def test_a_preview_shows_the_codes_it_was_given(tmp_path: Path) -> None:
    picture = np.zeros((40, 60, 3), np.uint8)
    picture[:, :30] = (200, 40, 90)

    size = write_preview(tmp_path, "a.jpg", picture, "t")

    with Image.open(tmp_path / "a.jpg") as back:
        codes = np.asarray(back).astype(int)
    assert size == (tmp_path / "a.jpg").stat().st_size
    assert int(np.abs(codes[5:35, 2:24] - (200, 40, 90)).max()) <= 3
    assert [path.name for path in tmp_path.iterdir()] == ["a.jpg"]


def test_a_quick_png_holds_every_code() -> None:
    picture = np.random.default_rng(3).integers(0, 256, (40, 60, 3), np.uint8)

    content = encode_picture(picture, "PNG", "a.png", quick=True)

    with Image.open(BytesIO(content)) as back:
        np.testing.assert_array_equal(np.asarray(back), picture)


def test_light_can_not_be_taken_for_a_display_picture(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match=r"a\.jpg.*float32 \(54, 96, 3\).*uint8 \(height"):
        write_preview(tmp_path, "a.jpg", LIGHT, "t")  # type: ignore[arg-type]  # the mistake is the point
    assert list(tmp_path.iterdir()) == []


def test_a_sheet_holds_every_picture_in_its_place(tmp_path: Path) -> None:
    pictures = [
        Labelled(f"haze {n}", np.full((20, 30, 3), 60 + 30 * n, np.uint8)) for n in range(5)
    ]

    write_sheet(tmp_path, "sheet.png", pictures, columns=3, title="mole_040", token="t")

    with Image.open(tmp_path / "sheet.png") as back:
        codes = np.asarray(back)
    assert codes.shape == (12 + 24 + 2 * (20 + 24 + 12), 12 + 3 * (30 + 12), 3)
    for n in range(5):
        y, x = 36 + n // 3 * 56, 12 + n % 3 * 42
        assert (
            codes[y : y + 20, x : x + 30].min()
            == codes[y : y + 20, x : x + 30].max()
            == 60 + 30 * n
        )
        assert codes[y + 20 : y + 44, x : x + 30].max() > 150


def test_a_label_keeps_to_its_own_column() -> None:
    grey = np.full((20, 30, 3), 90, np.uint8)

    sheet = draw_sheet([Labelled("W" * 80, grey), Labelled("", grey)], 2, "", "s.png")

    assert sheet[32:56, 42:].max() == 46


def test_a_sheet_without_pictures_or_far_too_large_is_refused() -> None:
    wide = Labelled("a", np.zeros((2, 9000, 3), np.uint8))

    with pytest.raises(OutputError, match=r"s\.png.*0 pictures, 3 columns"):
        draw_sheet([], 3, "", "s.png")
    with pytest.raises(OutputError, match=r"s\.png.*18036 x 50 pixels.*16384"):
        draw_sheet([wide, wide], 2, "", "s.png")


def test_a_caption_that_is_too_long_is_written_smaller_to_its_end() -> None:
    grey = np.full((90, 320, 3), 90, np.uint8)
    words = "5, frame 1003: practicals tint +20 mired, beauty "
    sheets = [
        draw_sheet([Labelled(words + end, grey)], 1, "", "sheet.jpg")
        for end in ("-2 stops", "-1 stops")
    ]

    differ = np.flatnonzero((sheets[0] != sheets[1]).any(axis=(0, 2)))
    assert differ.size > 0
    # Inside the picture's width, with room for the words that follow.
    assert differ.max() < 12 + 320 - 20
