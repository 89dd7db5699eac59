"""Start offsets found by the check on films of the quay, against the times the camera was there.

Source: the camera of `clutter_moves`, whose place on every file is known by construction. The moves
and the bounds are those of the study of start offsets (slide, arc, slow push, offsets of whole and
half frames); that a locked camera and one that only pans can't tell is geometry (no parallax:
Hartley & Zisserman 2004, Multiple View Geometry, 2nd ed., section 8.4, from memory).
"""

from collections.abc import Mapping
from pathlib import Path

import pytest

from glimsum_jobs.measurements import Checked, FoundOffset
from glimsum_jobs.problems import Problem, Rank
from glimsum_workers.check_shot import check_shot
from glimsum_workers.frames.roots import Roots
from support.clutter_moves import FRAMES, Move, film
from support.small_shots import exr_pass, small_roots, small_shot

LEAD = 1
"""Files of the pass before frame 0 of the shot; there is one behind its last frame too."""
SOUND = {number: number - LEAD for number in range(FRAMES + 2)}
"""Times of the files of a pass that ran as the reference did."""


@pytest.fixture(scope="module")
def checked_film(tmp_path_factory: pytest.TempPathFactory) -> "Films":
    return Films(tmp_path_factory.mktemp("films"))


class Films:
    """Films references once a move; a pass is filmed for the test that asks."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._filmed: set[str] = set()

    def check(
        self, move: Move, times: Mapping[int, float], light: str = "side", camera: str = "moving"
    ) -> Checked:
        if move not in self._filmed:
            film(self._folder, (move, move, "full"), {n: float(n) for n in range(FRAMES)})
            self._filmed.add(move)
        name = f"lamp{len(self._filmed)}"
        self._filmed.add(name)
        film(self._folder, (name, move, light), times)
        passes = {"beauty": exr_pass(move), "lamp": exr_pass(name, start_offset="auto")}
        frames = {"first": 1001, "last": 1000 + FRAMES}
        job = small_shot(camera=camera, frames=frames, passes=passes)
        return check_shot(job, Roots(small_roots(self._folder)))


def sync_of(checked: Checked) -> FoundOffset:
    sync = checked.passes["lamp"].sync
    assert sync is not None
    return sync


def said(checked: Checked, rank: Rank) -> list[Problem]:
    return [problem for problem in checked.problems if problem.rank is rank]


@pytest.mark.parametrize(
    ("move", "light"),
    [("slide", "side"), ("slide", "practicals"), ("arc", "side"), ("push", "side")],
)
def test_a_whole_start_offset_is_found_exactly(checked_film: Films, move: Move, light: str) -> None:
    checked = checked_film.check(move, SOUND, light)

    assert checked.passes["lamp"].start_offset == LEAD
    assert sync_of(checked).certain
    assert checked.problems == ()


@pytest.mark.parametrize("move", ["slide", "arc", "push"])
def test_half_a_frame_is_given_to_a_neighbour_and_told(checked_film: Films, move: Move) -> None:
    times = {number: time + 0.5 for number, time in SOUND.items()}

    checked = checked_film.check(move, times)

    # A file taken half a frame late shows frame 0 half a file before number LEAD.
    assert checked.passes["lamp"].start_offset in (LEAD - 1, LEAD)
    assert not checked.refused
    (remark,) = checked.problems
    assert remark.what == "pass lamp lies between two of its files"
    told = float(remark.seen.split()[0]) + checked.passes["lamp"].start_offset
    assert told == pytest.approx(LEAD - 0.5, abs=0.25)


def test_a_camera_that_only_pans_is_asked_about(checked_film: Films) -> None:
    checked = checked_film.check("pan", SOUND)

    (problem,) = said(checked, Rank.STOPS_SHOT)
    assert problem.what == "with which file does pass lamp start?"
    assert problem.place.field == "passes.lamp.start_offset"
    assert "only turns about its lens" in problem.remedy
    assert f"Write start_offset: {checked.passes['lamp'].start_offset}" in problem.remedy


def test_a_locked_camera_is_taken_as_0_and_told(checked_film: Films) -> None:
    checked = checked_film.check("pan", SOUND, camera="locked")

    assert checked.passes["lamp"].start_offset == 0
    assert not checked.refused
    (remark,) = checked.problems
    assert (remark.rank, remark.place.pass_name) == (Rank.REMARK, "lamp")
    assert "every frame looks like every other" in remark.remedy


def test_a_dropped_file_is_told_with_its_frame_and_the_shot_goes_on(checked_film: Films) -> None:
    times = {n: time if time < 5 else time + 1 for n, time in SOUND.items() if time < FRAMES}

    checked = checked_film.check("slide", times)

    # Frame 1006 (time 5) has no file; from the next one on files lie one earlier.
    assert not checked.refused
    (remark,) = [each for each in checked.problems if "lacks 1 file" in each.what]
    assert remark.place.frame in (1006, 1007)
    assert checked.passes["lamp"].start_offset in (LEAD, LEAD - 1)


def test_a_file_shot_twice_is_told_with_the_number_to_skip(checked_film: Films) -> None:
    times = {n: time if time < 4 else time - 1 for n, time in SOUND.items()}

    checked = checked_film.check("slide", times)

    # Time 3 is in files 4 and 5: from frame 1005 (time 4, file 6) on, files lie one later.
    assert not checked.refused
    (remark,) = [each for each in checked.problems if "1 file too many" in each.what]
    assert remark.place.frame == 1005
    assert "skip: [5]" in remark.remedy


def test_a_pass_at_another_speed_is_told_with_figures(checked_film: Films) -> None:
    times = {number: 1.05 * time for number, time in SOUND.items()}

    checked = checked_film.check("slide", times)

    assert not checked.refused
    assert checked.passes["lamp"].start_offset == LEAD
    (remark,) = [each for each in checked.problems if "different speed" in each.what]
    sync = sync_of(checked)
    assert sync.head is not None
    assert sync.tail is not None
    # A file taken at 1.05 t shows time t; frame f is found f / 1.05 - f files on.
    apart = (sync.frames[-1] - sync.frames[0]) * (1 / 1.05 - 1)
    assert sync.tail - sync.head == pytest.approx(apart, abs=0.1)
    assert f"{sync.tail:+.2f}" in remark.seen
    assert "retake" in remark.remedy
