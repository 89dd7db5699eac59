"""The guard through the whole flow: cues, frames, movie, verdict, and the movie decoded again."""

from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest
from av.video.reformatter import Colorspace
from numpy.typing import NDArray
from PIL import Image

from glimsum_jobs.ledger import RunState
from glimsum_jobs.problems import Problem, Rank
from glimsum_workers.engine.flashes.guard import FlashGuard
from glimsum_workers.writing.viewing_copy import WARNING_SECONDS
from support.run_here import HereRun, run_here
from support.small_shots import exr_pass, flat, small_roots, small_shot, write_exr_pass

FIRST, LAST = 1038, 1053
GOOD, BAD = (1040, 1049), (1040, 1043, 1046, 1049)
"""At 24 a second every third frame is over the limit (WCAG 2.2, 2.3.1), every ninth is not."""


def shoot(
    folder: Path, cues: tuple[int, ...], colour: tuple[float, ...] = (1, 1, 1), **viewing: Any
) -> HereRun:
    """Run a dim set with a steady strike over its left half, lit by cues."""
    strike = np.zeros_like(flat([0, 0, 0]))
    strike[:, :32] = colour
    numbers = range(FIRST, LAST + 1)
    write_exr_pass(folder, "set", dict.fromkeys(numbers, flat([0.01, 0.01, 0.012])))
    write_exr_pass(folder, "flash", dict.fromkeys(numbers, strike))
    sheet = [{"cue": n, "frame": f, "stops": 1.0, "down": 2} for n, f in enumerate(cues, 1)]
    job = small_shot(
        frames={"first": FIRST, "last": LAST},
        passes={"set": exr_pass("set"), "flash": exr_pass("flash")},
        recipe=[{"pass": "set"}, {"pass": "flash", "cues": sheet}],
        viewing={"movie": "h264", "width": 64, **viewing},
    )
    return run_here(job, small_roots(folder))


def flash_remarks(run: HereRun) -> list[Problem]:
    return [each for each in run.finished.remarks if "flashes over" in each.what]


def decode(run: HereRun) -> list[NDArray[np.uint8]]:
    """Return the movie's frames as another program decodes them."""
    assert run.finished.movie is not None
    with av.open(str(run.folder / run.finished.movie), mode="r") as container:
        return [
            np.asarray(frame.to_ndarray(format="rgb24", src_colorspace=Colorspace.ITU709), np.uint8)
            for frame in container.decode(video=0)
        ]


@pytest.fixture(scope="module")
def bad(tmp_path_factory: pytest.TempPathFactory) -> HereRun:
    return shoot(tmp_path_factory.mktemp("bad"), BAD)


def test_a_shot_within_the_limit_is_done(tmp_path: Path) -> None:
    run = shoot(tmp_path, GOOD)
    flashing = run.finished.flashing
    assert flashing is not None
    assert flashing.worst is not None
    assert (flashing.worst.flashes, flashing.over, flashing.picture) == (2, (), None)
    assert (run.state, flash_remarks(run)) == (RunState.DONE, [])
    assert not list(run.folder.glob("viewing/*_flashes.png"))


def test_a_shot_over_the_limit_is_done_with_a_remark_that_names_the_second(bad: HereRun) -> None:
    (remark,) = flash_remarks(bad)
    assert bad.state is RunState.DONE_WITH_REMARKS
    assert remark.rank is Rank.REMARK
    assert remark.place.frame == 1040
    assert remark.place.file == "viewing/small_v001_flashes.png"
    assert remark.seen.startswith("4 in the second from frame 1040 (frames 1040, 1043, 1046, 1049)")
    assert "more than a quarter of the picture" in remark.seen
    assert "an aid, not a certificate" in remark.remedy
    flashing = bad.finished.flashing
    assert flashing is not None
    assert flashing.over == BAD
    assert {(s.kind, s.area, s.flashes) for s in flashing.seconds} == {
        ("general", "picture", 4),
        ("general", "field", 4),
    }


def test_the_sheet_shows_the_flashing_area_bright(bad: HereRun) -> None:
    with Image.open(bad.folder / "viewing" / "small_v001_flashes.png") as sheet:
        codes = np.asarray(sheet.convert("RGB"), np.int16)
    # Four small pictures, the left half of each lit: above its line, and dim on its right.
    lit = (codes.min(axis=2) > 200).sum()
    assert lit > 4 * 32 * 36 / 2


def test_the_decoded_movie_has_the_same_verdict(bad: HereRun) -> None:
    pictures = decode(bad)
    height, width, _ = pictures[0].shape
    guard = FlashGuard(height, width, Fraction(24), "srgb_rec709_display")
    for picture in pictures:
        guard.look(picture)
    assert len(pictures) == LAST - FIRST + 1
    assert [edge + FIRST for edge in guard.over()] == list(BAD)


def test_a_red_strike_is_told_as_red(tmp_path: Path) -> None:
    # A quarter of BT.709's red in AP1, by colour-science (BT.709 to ACEScg, Bradford).
    run = shoot(tmp_path, BAD, colour=(0.1533, 0.0175, 0.0052), view="Un-tone-mapped")
    kinds = {each.what for each in flash_remarks(run)}
    assert "the viewing copy flashes over the published limit (red flashes)" in kinds


def test_a_warning_card_stands_before_the_film_if_asked(tmp_path: Path) -> None:
    run = shoot(tmp_path, GOOD, warning_card=True)
    pictures = decode(run)
    card = WARNING_SECONDS * 24
    assert len(pictures) == card + LAST - FIRST + 1
    # The card is still; codes of a lossy film may wander by a few.
    assert int(np.abs(pictures[3].astype(int) - pictures[card - 1]).max()) <= 12
    assert np.abs(pictures[card - 1].astype(int) - pictures[card]).mean() > 12
    assert run.finished.flashing is not None
    assert run.finished.flashing.worst is not None
    assert set(run.finished.flashing.worst.frames) <= set(range(FIRST, LAST + 1))


def test_the_guard_can_be_left_out(tmp_path: Path) -> None:
    run = shoot(tmp_path, BAD, flash_guard=False)
    assert run.finished.flashing is None
    assert flash_remarks(run) == []
