"""What the check finds before any frame is touched: file, frame, number seen, number expected."""

import shutil
from collections.abc import Mapping
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from glimsum_jobs.errors import JobError
from glimsum_jobs.measurements import Checked
from glimsum_jobs.problems import Problem, Rank, stopped_frames
from glimsum_workers.check_shot import check_shot
from glimsum_workers.frames.roots import Roots
from support.small_shots import (
    exr_pass,
    flat,
    small_roots,
    small_shot,
    write_exr_pass,
)
from unit.workers.frames.clip_making import write_clip

CLIP = {"files": "plates:a.mp4", "space": "ocio:itu709_rec709_scene", "exposure": {"stops": 0}}


@pytest.fixture
def plates(tmp_path: Path) -> Path:
    """Two passes of three files: key 1..3, bulbs 11..13."""
    write_exr_pass(tmp_path, "key", {n: flat([0.5, 0.4, 0.3]) for n in (1, 2, 3)})
    write_exr_pass(tmp_path, "bulbs", {n: flat([0.1, 0.1, 0.1]) for n in (11, 12, 13)})
    return tmp_path


def check(plates: Path, **changes: Any) -> Checked:
    passes = {"key": exr_pass("key"), "bulbs": exr_pass("bulbs")}
    job = small_shot(**{"passes": passes, **changes})
    return check_shot(job, Roots(small_roots(plates)))


def only(checked: Checked, rank: Rank) -> Problem:
    found = [problem for problem in checked.problems if problem.rank is rank]
    assert len(found) == 1, [str(problem) for problem in checked.problems]
    return found[0]


def test_a_sound_shot_has_no_problem(plates: Path) -> None:
    checked = check(plates)

    assert checked.problems == ()
    assert not checked.refused
    assert [checked.passes[name].first for name in ("key", "bulbs")] == [1, 11]
    assert checked.passes["key"].covers
    assert checked.needed_bytes <= checked.free_bytes


def test_a_gap_stops_its_frame_and_names_the_file(plates: Path) -> None:
    (plates / "bulbs" / "bulbs.0012.exr").unlink()

    checked = check(plates)

    problem = only(checked, Rank.STOPS_FRAME)
    assert (problem.place.pass_name, problem.place.frame) == ("bulbs", 1002)
    assert problem.place.file == "plates:bulbs/bulbs.0012.exr"
    assert (problem.seen, problem.expected) == ("no file with number 12", "a file with number 12")
    assert not checked.refused


def test_a_short_pass_is_named_once_with_what_it_lacks(plates: Path) -> None:
    for number in (12, 13):
        (plates / "bulbs" / f"bulbs.{number:04}.exr").unlink()

    checked = check(plates)

    remark = only(checked, Rank.REMARK)
    assert remark.what == "2 of 3 frames have no file in this pass"
    assert remark.seen == "1 files; none for frames 1002 to 1003"
    assert stopped_frames(list(checked.problems)) == {1002, 1003}


def test_a_shot_without_one_whole_frame_is_refused(plates: Path) -> None:
    bulbs = exr_pass("bulbs", start_offset=100)

    checked = check(plates, passes={"key": exr_pass("key"), "bulbs": bulbs})

    assert only(checked, Rank.STOPS_SHOT).seen == "3 of 3 frames lack a file"


def test_nearest_stands_in_for_a_missing_file_and_is_reported(plates: Path) -> None:
    (plates / "bulbs" / "bulbs.0013.exr").unlink()

    checked = check(
        plates, passes={"key": exr_pass("key"), "bulbs": exr_pass("bulbs", missing="nearest")}
    )

    remark = only(checked, Rank.REMARK)
    assert (remark.place.frame, remark.seen) == (1003, "no whole file with number 13")
    assert remark.expected == "number 13; number 12 stands in"
    assert checked.passes["bulbs"].replaced == {13: 12}
    assert not checked.refused


def test_a_file_of_another_size_stops_its_frame(plates: Path) -> None:
    write_exr_pass(plates, "key", {2: flat([0.5, 0.4, 0.3], 36, 60)})

    problem = only(check(plates), Rank.STOPS_FRAME)

    assert (problem.place.frame, problem.place.file) == (1002, "plates:key/key.0002.exr")
    assert (problem.seen, problem.expected) == ("60 x 36 pixels", "64 x 36 pixels")


def test_passes_of_different_size_refuse_the_shot(plates: Path) -> None:
    write_exr_pass(plates, "fill", {n: flat([0.1, 0.1, 0.1], 18, 32) for n in (1, 2, 3)})
    passes = {name: exr_pass(name) for name in ("key", "bulbs", "fill")}

    problem = only(check(plates, passes=passes), Rank.STOPS_SHOT)

    assert problem.place.pass_name == "fill"
    assert (problem.seen, problem.expected) == ("32 x 18 pixels", "64 x 36 pixels")


def test_a_matte_of_another_size_refuses_the_shot(plates: Path) -> None:
    Image.new("L", (32, 18)).save(plates / "window.png")
    recipe = [{"pass": "key", "matte": "window"}, {"pass": "bulbs"}]

    checked = check(plates, mattes={"window": {"files": "plates:window.png"}}, recipe=recipe)

    problem = only(checked, Rank.STOPS_SHOT)
    assert (problem.place.field, problem.seen) == ("mattes.window", "32 x 18 pixels")
    assert problem.expected == "64 x 36 pixels"


def test_a_crop_beyond_the_picture_refuses_the_shot(plates: Path) -> None:
    crop = {"x": 8, "y": 0, "width": 60, "height": 36}
    passes = {"key": exr_pass("key", crop=crop), "bulbs": exr_pass("bulbs", crop=crop)}

    found = [p for p in check(plates, passes=passes).problems if p.rank is Rank.STOPS_SHOT]

    assert [p.place.pass_name for p in found] == ["key", "bulbs"]
    assert found[0].seen == "60 x 36 pixels from 8, 0"
    assert found[0].expected == "within 64 x 36 pixels"


def test_a_missing_folder_is_named(plates: Path) -> None:
    shutil.rmtree(plates / "bulbs")

    problem = only(check(plates), Rank.STOPS_SHOT)

    assert problem.place.pass_name == "bulbs"
    assert "no such file or folder" in problem.what
    assert problem.place.file == "plates:bulbs"


@pytest.mark.parametrize(
    ("files", "what"),
    [
        ("plates:../key/key.%04d.exr", "climbs"),
        ("plates:key/key.%04d\0.exr", "character that no plain path holds"),
        ("other:key/key.%04d.exr", "no root of that name"),
    ],
)
def test_a_path_that_leaves_its_root_or_is_not_plain_is_refused(
    plates: Path, files: str, what: str
) -> None:
    passes = {"key": exr_pass("key") | {"files": files}, "bulbs": exr_pass("bulbs")}

    problem = only(check(plates, passes=passes), Rank.STOPS_SHOT)

    assert what in problem.what
    assert problem.place.pass_name == "key"


def test_a_link_out_of_the_root_is_refused(plates: Path, tmp_path_factory: Any) -> None:
    outside = tmp_path_factory.mktemp("outside") / "key.0002.exr"
    inside = plates / "key" / "key.0002.exr"
    inside.rename(outside)
    inside.symlink_to(outside)

    problem = only(check(plates), Rank.STOPS_SHOT)

    assert "leads out of its root" in problem.what
    assert problem.place.file == "plates:key/key.0002.exr"


def test_a_full_disk_is_told_in_bytes_before_anything_is_made(
    plates: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Roots, "free_bytes", lambda self, root: 20_000)

    checked = check(plates)

    # 3 frames of 64 x 36 pixels with R, G, B, A of 2 bytes and a byte for preview and movie.
    assert (checked.needed_bytes, checked.free_bytes) == (3 * 64 * 36 * 9, 20_000)
    problem = only(checked, Rank.STOPS_SHOT)
    assert "not enough room" in problem.what
    assert problem.expected == "0.00 GB for 3 frames, uncompressed at worst"


def test_every_file_of_a_dark_is_looked_at_and_a_dead_one_is_a_remark(plates: Path) -> None:
    write_exr_pass(plates, "dark", {n: flat([0.01, 0.01, 0.01]) for n in range(1, 9)})
    dead = plates / "dark" / "dark.0007.exr"
    dead.write_bytes(dead.read_bytes()[:-40])
    passes = {
        "key": exr_pass("key", dark="dark"),
        "dark": exr_pass("dark", use="dark"),
    }

    remark = only(check(plates, passes=passes), Rank.REMARK)

    assert remark.place.file == "plates:dark/dark.0007.exr"
    assert "cut off" in remark.what


def test_an_unstated_encoding_is_a_question_not_a_guess(plates: Path) -> None:
    key = {name: value for name, value in exr_pass("key").items() if name != "space"}

    with pytest.raises(JobError, match=r"space is missing \(shot small, pass key"):
        small_shot(passes={"key": key})
    with pytest.raises(JobError, match=r"passes\.key\.space.*seen: \"?lin_ap9_scene"):
        small_shot(passes={"key": exr_pass("key") | {"space": "lin_ap9_scene"}})


def check_clip(plates: Path, each: Mapping[str, Any]) -> Checked:
    return check(plates, passes={"plain": dict(each)}, recipe=[{"pass": "plain"}])


@pytest.mark.parametrize(("tags", "proposal"), [((1, 1), "limited"), ((2, 1), "full")])
def test_a_clip_without_range_is_a_question_with_the_tag_as_proposal(
    plates: Path, tags: tuple[int, int], proposal: str
) -> None:
    write_clip(plates / "a.mp4", 5, tags=tags)

    problem = only(check_clip(plates, CLIP), Rank.STOPS_SHOT)

    assert problem.what == "which range do the codes of this clip have?"
    assert problem.place.file == "plates:a.mp4"
    assert problem.remedy == (
        f"The clip's tag says {proposal}: write range: {proposal} if that is so."
    )


def test_a_clip_of_another_rate_is_a_remark_with_both_rates(plates: Path) -> None:
    write_clip(plates / "a.mp4", 5, rate=Fraction(25), tags=(1, 1))

    checked = check_clip(plates, {**CLIP, "range": "limited"})

    remark = only(checked, Rank.REMARK)
    assert (remark.seen, remark.expected) == ("25 frames a second", "24")
    assert not checked.refused
    assert checked.passes["plain"].count == 5


def test_a_clip_tagged_otherwise_than_the_job_says_is_a_remark(plates: Path) -> None:
    write_clip(plates / "a.mp4", 5, tags=(1, 1))

    remark = only(check_clip(plates, {**CLIP, "range": "full"}), Rank.REMARK)

    assert (remark.seen, remark.expected) == (
        "tag limited, job full",
        "the same; the job is followed",
    )


def test_a_clip_of_variable_rate_is_refused_by_the_check_with_its_durations(
    plates: Path,
) -> None:
    write_clip(plates / "a.mp4", 5, times=[0, 1, 2, 5, 6], tags=(1, 1))

    problem = only(check_clip(plates, {**CLIP, "range": "limited"}), Rank.STOPS_SHOT)

    assert problem.what == "the frames of this clip last for different times"
    assert problem.place.file == "plates:a.mp4"
    assert problem.seen.startswith("41.667 to 125.000 ms, uneven from frame ")
    assert problem.expected.endswith("a constant rate")


def test_a_clip_that_is_too_short_names_frame_and_number(plates: Path) -> None:
    write_clip(plates / "a.mp4", 2, tags=(1, 1))

    problem = only(check_clip(plates, {**CLIP, "range": "limited"}), Rank.STOPS_FRAME)

    assert (problem.place.frame, problem.place.file) == (1003, "plates:a.mp4 frame 2")
    assert problem.seen == "no file with number 2"
