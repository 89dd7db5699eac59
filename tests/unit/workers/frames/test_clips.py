import os
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from glimsum_jobs.errors import SourceError
from glimsum_workers.frames import clips
from glimsum_workers.frames.clip_index import ClipIndex
from glimsum_workers.frames.clips import Clip
from unit.workers.frames.clip_making import write_clip


def opened(path: Path) -> Clip:
    return Clip(os.open(path, os.O_RDONLY), path.name)


@pytest.mark.parametrize(
    ("pixel_format", "bits", "chroma"),
    [
        ("yuv420p", 8, (27, 48)),
        ("yuv422p", 8, (54, 48)),
        ("yuv444p", 8, (54, 96)),
        ("yuvj420p", 8, (27, 48)),
        ("yuv420p10le", 10, (27, 48)),
        ("yuv422p10le", 10, (54, 48)),
    ],
)
def test_codes_come_out_as_they_went_in(
    tmp_path: Path, pixel_format: str, bits: int, chroma: tuple[int, int]
) -> None:
    # Lossless coding (H.264, quantiser 0): the codes put in are the reference.
    write_clip(tmp_path / "a.mp4", 5, pixel_format=pixel_format, options={"qp": "0", "bf": "0"})

    with opened(tmp_path / "a.mp4") as clip:
        planes = clip.read(3)

    step = 1 if bits == 8 else 4
    assert (planes.bits, planes.cb.shape, planes.cr.shape) == (bits, chroma, chroma)
    np.testing.assert_array_equal(planes.luma[:, :48], np.full((54, 48), step * 43))
    np.testing.assert_array_equal(planes.luma[0, 48:], step * (60 + (np.arange(48) + 3) % 80))
    np.testing.assert_array_equal(planes.cb, np.full(chroma, step * 123))
    np.testing.assert_array_equal(planes.cr, np.full(chroma, step * 143))


def test_twelve_bit_planes_are_read(tmp_path: Path) -> None:
    write_clip(
        tmp_path / "a.mp4",
        3,
        codec="libx265",
        pixel_format="yuv420p12le",
        options={"x265-params": "log-level=none:lossless=1"},
    )

    with opened(tmp_path / "a.mp4") as clip:
        assert (clip.facts.bits, clip.facts.codec) == (12, "hevc")
        assert abs(int(clip.read(2).luma[20, 20]) - 4 * 42) <= 2


def test_intra_coded_422_is_read(tmp_path: Path) -> None:
    write_clip(tmp_path / "a.mov", 3, codec="prores_ks", pixel_format="yuv422p10le", options={})

    with opened(tmp_path / "a.mov") as clip:
        assert (clip.facts.bits, clip.facts.codec, clip.facts.count) == (10, "prores", 3)
        assert abs(int(clip.read(1).luma[20, 20]) - 4 * 41) <= 4


@pytest.mark.parametrize("size", [(95, 53), (33, 54), (130, 70)])
def test_odd_sizes_carry_no_padding(tmp_path: Path, size: tuple[int, int]) -> None:
    write_clip(tmp_path / "a.mp4", 3, size=size, pixel_format="yuv444p", options={"qp": "0"})

    with opened(tmp_path / "a.mp4") as clip:
        planes = clip.read(2)

    assert planes.luma.shape == planes.cb.shape == (size[1], size[0])
    assert int(planes.luma[-1, 0]) == 42
    assert len(np.unique(planes.cb)) == 1


@pytest.mark.parametrize(
    ("tags", "told"),
    [((1, 1), ("limited", "bt709")), ((2, 6), ("full", "bt601")), ((1, 9), ("limited", "bt2020"))],
)
def test_range_and_matrix_are_read_from_the_tags(
    tmp_path: Path, tags: tuple[int, int], told: tuple[str, str]
) -> None:
    # Code points of ITU-T H.273 table 4: 1 BT.709, 6 BT.601, 9 BT.2020.
    write_clip(tmp_path / "a.mp4", 2, tags=tags)

    with opened(tmp_path / "a.mp4") as clip:
        assert (clip.facts.range, clip.facts.matrix) == told
        assert clip.read(0).matrix == told[1]


def test_a_clip_without_tags_says_so(tmp_path: Path) -> None:
    write_clip(tmp_path / "a.mp4", 2)

    with opened(tmp_path / "a.mp4") as clip:
        assert (clip.facts.matrix, clip.facts.transfer) == (None, None)
        assert clip.read(0).matrix == "bt601"


@pytest.mark.parametrize("rate", [Fraction(24), Fraction(24000, 1001), Fraction(30000, 1001)])
def test_facts_are_counted(tmp_path: Path, rate: Fraction) -> None:
    write_clip(tmp_path / "a.mp4", 31, rate=rate)

    with opened(tmp_path / "a.mp4") as clip:
        facts = clip.facts

    assert (facts.width, facts.height, facts.count, facts.rate) == (96, 54, 31, rate)
    assert not facts.variable_rate


def test_a_frame_past_the_end_is_named(tmp_path: Path) -> None:
    write_clip(tmp_path / "a.mp4", 4)

    with opened(tmp_path / "a.mp4") as clip:
        for number in (4, -1):
            with pytest.raises(
                SourceError, match=rf"a\.mp4.*seen: frame {number}; expected: 0 to 3"
            ):
                clip.read(number)


def test_a_variable_rate_is_refused_with_its_durations(tmp_path: Path) -> None:
    write_clip(tmp_path / "a.mp4", 6, times=[0, 1, 2, 5, 6, 7])

    with opened(tmp_path / "a.mp4") as clip:
        assert clip.facts.variable_rate
        with pytest.raises(
            SourceError, match=r"a\.mp4.*41\.667 to 125\.000 ms.*expected: .* ms each"
        ):
            clip.read(0)


def test_rates_that_are_no_whole_number_of_ticks_are_constant() -> None:
    # 24000/1001 in ticks of 1/90000 s, 3753.75 each, rounded as cameras round.
    times = tuple(round(Fraction(15015, 4) * i) for i in range(100))

    late = (*times[:50], *(time + 40 for time in times[50:]))

    assert ClipIndex(times, (0,), Fraction(1, 90000)).uneven_frame() is None
    assert ClipIndex(late, (0,), Fraction(1, 90000)).uneven_frame() is not None


def test_a_frame_three_ticks_early_is_uneven() -> None:
    times = [512 * i for i in range(20)]
    times[7] -= 3

    assert ClipIndex(tuple(times), (0,), Fraction(1, 12288)).uneven_frame() == 7


@pytest.mark.parametrize("share", [0.9, 0.6, 0.2])
def test_a_clip_cut_off_is_refused(tmp_path: Path, share: float) -> None:
    write_clip(tmp_path / "whole.mp4", 48)
    whole = (tmp_path / "whole.mp4").read_bytes()
    (tmp_path / "cut.mp4").write_bytes(whole[: int(len(whole) * share)])

    with pytest.raises(SourceError, match=r"cut off or damaged.*cut\.mp4.*expected: a whole clip"):
        opened(tmp_path / "cut.mp4")


@pytest.mark.parametrize("share", [0.9, 0.5])
def test_a_clip_cut_off_behind_its_index_is_refused(tmp_path: Path, share: float) -> None:
    write_clip(tmp_path / "whole.mov", 48, options={"crf": "4"})
    whole = bytearray((tmp_path / "whole.mov").read_bytes())
    # Move the table of frames before the frames, as cameras and servers do.
    front = move_index_first(bytes(whole))
    (tmp_path / "front.mov").write_bytes(front)
    with opened(tmp_path / "front.mov") as clip:
        assert clip.facts.count == 48
    (tmp_path / "cut.mov").write_bytes(front[: int(len(front) * share)])

    with pytest.raises(SourceError, match=r"cut off or damaged.*cut\.mov"):
        opened(tmp_path / "cut.mov")


def move_index_first(data: bytes) -> bytes:
    """ISO 14496-12: put `moov` before `mdat` and move its chunk offsets along."""
    at = data.index(b"moov") - 4
    size = int.from_bytes(data[at : at + 4], "big")
    moov = bytearray(data[at : at + size])
    table = moov.index(b"stco") + 4
    count = int.from_bytes(moov[table + 4 : table + 8], "big")
    for i in range(count):
        place = table + 8 + 4 * i
        offset = int.from_bytes(moov[place : place + 4], "big") + size
        moov[place : place + 4] = offset.to_bytes(4, "big")
    head = int.from_bytes(data[:4], "big")
    return data[:head] + bytes(moov) + data[head:at] + data[at + size :]


def refusal(clip: Clip, number: int) -> str:
    try:
        clip.read(number)
    except SourceError as error:
        return str(error)
    return ""


def test_damage_inside_a_frame_is_refused_not_mended(tmp_path: Path) -> None:
    write_clip(tmp_path / "a.mp4", 24, size=(320, 180), options={"bf": "0", "g": "1", "crf": "10"})
    data = bytearray((tmp_path / "a.mp4").read_bytes())
    middle = data.index(b"moov") // 2
    data[middle : middle + 400] = bytes(400)
    (tmp_path / "bad.mp4").write_bytes(bytes(data))

    with opened(tmp_path / "bad.mp4") as clip:
        told = [refusal(clip, number) for number in range(clip.facts.count)]

    assert 1 <= len([words for words in told if words]) <= 3
    assert all(
        "bad.mp4" in words and f"frame {n}" in words for n, words in enumerate(told) if words
    )


def test_a_coding_that_is_not_known_is_refused(tmp_path: Path) -> None:
    write_clip(tmp_path / "a.mp4", 3)
    data = (tmp_path / "a.mp4").read_bytes()
    (tmp_path / "b.mp4").write_bytes(data.replace(b"avc1", b"av!1"))

    with pytest.raises(SourceError, match=r"b\.mp4.*(unknown coding|not read)"):
        opened(tmp_path / "b.mp4")


def test_another_coding_is_refused_with_those_that_are_read(tmp_path: Path) -> None:
    write_clip(tmp_path / "a.mp4", 3, codec="mpeg4", options={})

    with pytest.raises(
        SourceError, match=r"a\.mp4.*seen: mpeg4; expected: one of h264, hevc, prores"
    ):
        opened(tmp_path / "a.mp4")


def test_a_picture_named_as_a_clip_is_refused(tmp_path: Path) -> None:
    (tmp_path / "a.mp4").write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(100))

    with pytest.raises(SourceError, match=r"a\.mp4.*seen: png; expected: clip"):
        opened(tmp_path / "a.mp4")


def test_rgb_clips_are_refused_with_a_way_out(tmp_path: Path) -> None:
    write_clip(
        tmp_path / "a.mp4", 2, codec="libx264rgb", pixel_format="rgb24", options={}, tags=(2, 0)
    )

    with pytest.raises(
        SourceError, match=r"a\.mp4.*seen: gbrp; expected: planar.*sequence of pictures"
    ):
        opened(tmp_path / "a.mp4")


def test_a_clip_opened_again_is_not_counted_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_clip(tmp_path / "a.mp4", 5)
    opened(tmp_path / "a.mp4").close()
    monkeypatch.setattr(clips, "index_clip", None)

    with opened(tmp_path / "a.mp4") as clip:
        assert clip.facts.count == 5
