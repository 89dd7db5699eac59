from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
from av.video.reformatter import Colorspace
from numpy.typing import NDArray

from glimsum_jobs.errors import LeaseLost, OutputError
from glimsum_workers.frames.movies import display_to_planes, write_movie
from glimsum_workers.frames.previews import Display

# Rec. ITU-R BT.709-6 and SMPTE RP 219 colour bars: 100 % primaries in 8 bit limited range
# (values from memory, as handbooks print them).
BARS = {
    (255, 255, 255): (235, 128, 128),
    (255, 255, 0): (219, 16, 138),
    (0, 255, 255): (188, 154, 16),
    (0, 255, 0): (173, 42, 26),
    (255, 0, 255): (78, 214, 230),
    (255, 0, 0): (63, 102, 240),
    (0, 0, 255): (32, 240, 118),
    (0, 0, 0): (16, 128, 128),
}


def patch(colour: tuple[int, int, int], size: tuple[int, int] = (48, 64)) -> NDArray[np.uint8]:
    return np.full((*size, 3), colour, np.uint8)


@pytest.mark.parametrize(("colour", "codes"), BARS.items())
def test_colour_bars_have_their_codes(
    colour: tuple[int, int, int], codes: tuple[int, int, int]
) -> None:
    planes = display_to_planes(patch(colour))

    assert tuple(int(plane[3, 3]) for plane in planes) == codes


def test_chroma_lies_on_the_left_luma_samples() -> None:
    # A ramp across: the sample sited at even columns has the ramp's value there (away from the
    # edge), not half a pixel to the right. BT.709 Cb of grey + blue ramp grows evenly.
    ramp = np.zeros((2, 64, 3), np.uint8)
    ramp[:, :, 2] = np.arange(64) * 3
    _, cb, _ = display_to_planes(ramp)

    slope = 224 * (1 - 0.0722) / (2 * (1 - 0.0722)) * 3 / 255
    expected = 128 + slope * np.arange(0, 64, 2)
    assert float(np.abs(cb[0, 1:].astype(float) - expected[1:]).max()) <= 0.51


def decoded(path: Path) -> list[Display]:
    with av.open(str(path), mode="r") as container:
        return [
            np.asarray(frame.to_ndarray(format="rgb24", src_colorspace=Colorspace.ITU709), np.uint8)
            for frame in container.decode(video=0)
        ]


def test_patches_and_a_grey_ramp_decode_to_what_was_shown(tmp_path: Path) -> None:
    frames = [patch((200, 90, 40)), patch((20, 160, 210)), patch((128, 128, 128))]
    ramp = np.repeat(np.linspace(0, 255, 64).astype(np.uint8)[None, :, None], 48, 0).repeat(3, 2)
    frames.append(ramp)

    count = write_movie(tmp_path, "a.mp4", frames, Fraction(24), token="t")

    back = decoded(tmp_path / "a.mp4")
    assert count == len(back) == 4
    for shown, seen in zip(frames, back, strict=True):
        error = np.abs(seen.astype(int) - shown.astype(int))
        assert float(error.mean()) <= 1.5
        assert int(np.percentile(error, 99)) <= 4


def test_the_movie_says_what_it_is(tmp_path: Path) -> None:
    write_movie(tmp_path, "a.mp4", [patch((9, 9, 9))] * 3, Fraction(24000, 1001), token="t")

    with av.open(str(tmp_path / "a.mp4"), mode="r") as container:
        stream = container.streams.video[0]
        context = stream.codec_context
        told = [
            int(tag)
            for tag in (
                context.color_range,
                context.colorspace,
                context.color_primaries,
                context.color_trc,
            )
        ]
        assert (context.codec.name, context.pix_fmt, stream.frames) == ("h264", "yuv420p", 3)
        assert stream.average_rate == Fraction(24000, 1001)
    # ITU-T H.273: limited range; 1 = BT.709 for matrix, primaries and transfer.
    assert told == [1, 1, 1, 1]
    data = (tmp_path / "a.mp4").read_bytes()
    assert data.index(b"moov") < data.index(b"mdat")


def test_odd_sizes_are_made_even(tmp_path: Path) -> None:
    write_movie(tmp_path, "a.mp4", [patch((90, 90, 90), (37, 51))], Fraction(24), token="t")

    assert decoded(tmp_path / "a.mp4")[0].shape == (38, 52, 3)


def test_the_same_frames_give_the_same_bytes(tmp_path: Path) -> None:
    random = np.random.default_rng(1)
    frames = [random.integers(0, 256, (48, 64, 3), dtype=np.uint8) for _ in range(6)]
    for name in ("a.mp4", "b.mp4"):
        write_movie(tmp_path, name, frames, Fraction(24), token=name)

    assert (tmp_path / "a.mp4").read_bytes() == (tmp_path / "b.mp4").read_bytes()


def test_a_frame_of_another_size_is_named_and_nothing_is_left(tmp_path: Path) -> None:
    frames = [patch((1, 2, 3)), patch((1, 2, 3), (48, 66))]

    with pytest.raises(
        OutputError, match=r"a\.mp4.*frame 1 of the movie: uint8 \(48, 66, 3\).*\(48, 64, 3\)"
    ):
        write_movie(tmp_path, "a.mp4", frames, Fraction(24), token="t")
    assert list(tmp_path.iterdir()) == []


def test_a_movie_without_frames_is_refused(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match=r"a\.mp4.*0 frames.*1 at least"):
        write_movie(tmp_path, "a.mp4", [], Fraction(24), token="t")
    assert list(tmp_path.iterdir()) == []


def test_a_lost_lease_on_the_way_leaves_nothing(tmp_path: Path) -> None:
    def frames() -> Iterator[Display]:
        yield patch((1, 2, 3))
        raise LeaseLost("another worker has it")

    with pytest.raises(LeaseLost):
        write_movie(tmp_path, "a.mp4", frames(), Fraction(24), token="t")
    assert list(tmp_path.iterdir()) == []


def test_a_missing_folder_is_told(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match=r"gone/a\.mp4.*No such file"):
        write_movie(tmp_path / "gone", "a.mp4", [patch((1, 2, 3))], Fraction(24), token="t")
