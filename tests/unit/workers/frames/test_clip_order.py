"""What a clip decodes for frames asked for in order, out of order, and with their neighbours."""

import os
from pathlib import Path

import pytest

from glimsum_workers.frames.clips import Clip
from unit.workers.frames.clip_making import write_clip


def opened(path: Path) -> Clip:
    return Clip(os.open(path, os.O_RDONLY), path.name)


def test_frames_in_order_are_decoded_without_a_jump(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_clip(tmp_path / "a.mp4", 60, options={"bf": "2", "g": "60"})
    jumps = []
    jump = Clip._jump

    def count_jump(self: Clip, start: int) -> None:
        jumps.append(start)
        jump(self, start)

    monkeypatch.setattr(Clip, "_jump", count_jump)

    with opened(tmp_path / "a.mp4") as clip:
        for number in (*range(60), 59):
            clip.read(number)

    assert jumps == [0]


def test_a_clip_counts_what_it_decodes_on_the_way(tmp_path: Path) -> None:
    write_clip(tmp_path / "a.mp4", 48, options={"bf": "0", "g": "12", "sc_threshold": "0"})

    with opened(tmp_path / "a.mp4") as clip:
        counts = []
        for number in (0, 1, 2, 20, 21, 21, 15):
            clip.read(number)
            counts.append(clip.decoded)

    # Decoding can begin at 0, 12, 24 and 36: frame 20 costs 12 to 20, frame 15 then 12 to 15.
    assert counts == [1, 2, 3, 12, 13, 13, 17]


def test_frames_with_their_neighbours_are_decoded_once(tmp_path: Path) -> None:
    write_clip(tmp_path / "a.mp4", 60, options={"bf": "2", "g": "60"})

    with opened(tmp_path / "a.mp4") as clip:
        for middle in range(1, 59):
            lumas = [int(clip.read(middle + beside).luma[20, 20]) for beside in (-1, 0, 1)]
            # What the frames carry, within what coding at rate factor 23 leaves.
            assert lumas == pytest.approx([39 + middle, 40 + middle, 41 + middle], abs=2)

    assert clip.decoded <= 60 + 3  # one jump back, when the first frame is asked for again
