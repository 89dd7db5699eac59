"""Single frames of a clip against one plain decode of the whole clip, start to end.

The reference is the decoder's own order of showing, without a jump anywhere (ITU-T H.264, C.4:
pictures come out in order of showing), and the number that each frame carries in its luma.
"""

import os
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
from numpy.typing import NDArray

from glimsum_workers.frames.clips import Clip
from unit.workers.frames.clip_making import LONG_GOP, write_clip

COUNT = 130
CODINGS = {
    "long GOP, 3 B frames": LONG_GOP,
    "pyramid, open GOP": {
        "bf": "3",
        "g": "24",
        "crf": "8",
        "x264-params": "open-gop=1:b-pyramid=normal",
    },
    "one GOP": {"bf": "2", "g": "500", "crf": "8"},
    "short GOPs, many B frames": {
        "bf": "5",
        "g": "7",
        "crf": "8",
        "x264-params": "b-adapt=0:scenecut=0",
    },
    "each frame alone": {"bf": "0", "g": "1", "crf": "8"},
}


def plain_decode(path: Path) -> list[NDArray[np.uint8]]:
    with av.open(str(path), mode="r") as container:
        container.streams.video[0].codec_context.thread_count = 1
        return [
            frame.to_ndarray()[: frame.height].astype(np.uint8)
            for frame in container.decode(video=0)
        ]


@pytest.mark.parametrize("coding", CODINGS)
@pytest.mark.parametrize("rate", [Fraction(24), Fraction(24000, 1001)])
def test_any_frame_in_any_order_is_the_frame_of_a_plain_decode(
    tmp_path: Path, coding: str, rate: Fraction
) -> None:
    path = tmp_path / "a.mp4"
    write_clip(path, COUNT, options=CODINGS[coding], rate=rate)
    expected = plain_decode(path)
    shuffled = np.random.default_rng(3).permutation(COUNT).tolist()
    order = [*range(COUNT), *reversed(range(COUNT)), *shuffled]

    assert len(expected) == COUNT
    with Clip(os.open(path, os.O_RDONLY), path.name) as clip:
        assert clip.facts.count == COUNT
        for number in order:
            luma = clip.read(number).luma
            np.testing.assert_array_equal(luma, expected[number])
            assert abs(int(np.median(luma[:, :40])) - (40 + number)) <= 1


def test_the_first_frame_shown_is_frame_0_behind_an_edit_list(tmp_path: Path) -> None:
    # ISO 14496-12, 8.6.6: an edit list says which time of the media is shown first. The writer
    # makes one for B frames; here it is moved on by ten frames.
    path = tmp_path / "a.mp4"
    write_clip(path, 60, options={"bf": "0", "g": "60", "crf": "8"})
    data = bytearray(path.read_bytes())
    at = data.index(b"elst") + 4 + 8
    shown, start = (int.from_bytes(data[at + k : at + k + 4], "big") for k in (0, 4))
    data[at : at + 4] = (shown * 50 // 60).to_bytes(4, "big")
    data[at + 4 : at + 8] = (start + 10 * 512).to_bytes(4, "big")
    path.write_bytes(bytes(data))
    expected = plain_decode(path)

    with Clip(os.open(path, os.O_RDONLY), path.name) as clip:
        assert clip.facts.count == len(expected) == 50
        for number in (0, 49, 7):
            luma = clip.read(number).luma
            np.testing.assert_array_equal(luma, expected[number])
            assert abs(int(np.median(luma[:, :40])) - (50 + number)) <= 1
