"""Start offsets found, asked about or left alone by the check, with what it says and where."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from glimsum_jobs.errors import JobError, LeaseLost
from glimsum_jobs.measurements import Checked
from glimsum_jobs.problems import Problem, Rank
from glimsum_jobs.settled import settled
from glimsum_jobs.shot import ShotJob
from glimsum_workers.check_shot import check_shot
from glimsum_workers.frames.kept import Keep
from glimsum_workers.frames.roots import Roots
from glimsum_workers.looking.one_frame import make_still
from support.moving_planes import draw_frame
from support.small_shots import exr_pass, small_roots, small_shot, write_exr_pass

FRAMES = 7


@pytest.fixture
def plates(tmp_path: Path) -> Path:
    """A key of 7 files from 1, and a lamp that started 2 files early, 10 files from 11."""
    write_exr_pass(tmp_path, "key", {n + 1: draw_frame(n) for n in range(FRAMES)})
    write_exr_pass(tmp_path, "lamp", {n + 11: draw_frame(n - 2, "side") for n in range(FRAMES + 3)})
    return tmp_path


def job_of(**changes: Any) -> ShotJob:
    lamp = changes.pop("lamp", {})
    passes = {"key": exr_pass("key"), "lamp": exr_pass("lamp", **{"start_offset": "auto", **lamp})}
    frames = {"first": 1001, "last": 1000 + FRAMES}
    whole = {"camera": "moving", "frames": frames, "passes": passes}
    return small_shot(**{**whole, **changes})


def check(plates: Path, **changes: Any) -> Checked:
    return check_shot(job_of(**changes), Roots(small_roots(plates)))


def only(checked: Checked) -> Problem:
    assert len(checked.problems) == 1, [str(problem) for problem in checked.problems]
    return checked.problems[0]


def test_the_offset_is_found_and_files_are_judged_with_it(plates: Path) -> None:
    (plates / "lamp" / "lamp.0018.exr").unlink()

    checked = check(plates)

    found = checked.passes["lamp"]
    assert (found.first, found.start_offset) == (11, 2)
    assert found.sync is not None
    assert found.sync.certain
    # By hand: the last file is missing for frame 1006, 11 + 5 + 2 = 18; 19 is there for 1007.
    assert [each.place.frame for each in checked.problems if each.rank is Rank.STOPS_FRAME] == [
        1006
    ]


def test_a_stated_offset_is_not_compared(plates: Path) -> None:
    found = check(plates, lamp={"start_offset": 2}).passes["lamp"]

    assert (found.start_offset, found.sync) == (2, None)


def test_offsets_go_in_steps_of_the_pass(plates: Path) -> None:
    # Every third file is the lamp's; the files between show another lamp.
    for n in range(FRAMES + 3):
        number = 100 + 3 * n
        write_exr_pass(
            plates,
            "turns",
            {
                number: draw_frame(n - 2, "side"),
                number + 1: draw_frame(n + 1),
                number + 2: draw_frame(n + 5),
            },
        )
    passes = {
        "key": exr_pass("key"),
        "turns": exr_pass("turns", step=3, start_offset="auto"),
    }

    checked = check(plates, passes=passes)

    assert checked.passes["turns"].start_offset == 6
    assert checked.problems == ()


def test_a_pass_that_shows_nothing_of_the_set_is_asked_about(plates: Path) -> None:
    rng = np.random.default_rng(3)
    noise = {n: rng.normal(0.2, 0.05, (96, 144, 3)) for n in range(11, 21)}
    write_exr_pass(plates, "lamp", noise)

    problem = only(check(plates))

    assert problem.rank is Rank.STOPS_SHOT
    assert problem.what == "with which file does pass lamp start?"
    assert problem.place.pass_name == "lamp"
    assert problem.place.field == "passes.lamp.start_offset"
    assert problem.place.file == "plates:lamp/lamp.%04d.exr"
    assert "nats a tile, 1.0 wanted" in problem.remedy


def test_a_pass_that_started_before_everything_that_is_tried_is_asked_about(plates: Path) -> None:
    write_exr_pass(plates, "lamp", {n + 11: draw_frame(n - 25, "side") for n in range(34)})

    problem = only(check(plates))

    assert problem.rank is Rank.STOPS_SHOT
    assert problem.what == "with which file does pass lamp start?"
    assert "State start_offset" in problem.remedy


def test_a_pass_that_starts_late_lacks_the_frames_before_it(plates: Path) -> None:
    for number in (11, 12, 13):
        (plates / "lamp" / f"lamp.{number:04}.exr").unlink()

    checked = check(plates)

    # The lowest number is now 14, which shows frame 1002.
    assert (checked.passes["lamp"].first, checked.passes["lamp"].start_offset) == (14, -1)
    assert {each.place.frame for each in checked.problems if each.rank is Rank.STOPS_FRAME} == {
        1001
    }


def test_a_damaged_file_stops_its_frame_and_the_offset_is_found_without_it(plates: Path) -> None:
    damaged = plates / "lamp" / "lamp.0014.exr"
    damaged.write_bytes(damaged.read_bytes()[:-400])

    checked = check(plates)

    assert checked.passes["lamp"].start_offset == 2
    assert [each.place.frame for each in checked.problems] == [1002]


def test_a_missing_folder_is_named_and_no_offset_asked_for(plates: Path) -> None:
    problem = only(check(plates, lamp={"files": "plates:gone/lamp.%04d.exr"}))

    assert problem.place.pass_name == "lamp"
    assert "no such file or folder" in problem.what


def test_a_missing_reference_is_named_and_no_offset_asked_for(plates: Path) -> None:
    passes = {
        "key": exr_pass("key") | {"files": "plates:gone/key.%04d.exr"},
        "lamp": exr_pass("lamp", start_offset="auto"),
    }

    problem = only(check(plates, passes=passes))

    assert problem.place.pass_name == "key"


def test_a_pass_of_another_size_is_named_and_no_offset_asked_for(plates: Path) -> None:
    small = {n + 11: draw_frame(n - 2, "side")[:64, :96] for n in range(FRAMES + 3)}
    write_exr_pass(plates, "lamp", small)

    problem = only(check(plates))

    assert problem.what == "pass lamp has another size than the others"
    assert (problem.seen, problem.expected) == ("96 x 64 pixels", "144 x 96 pixels")


def test_pictures_too_small_to_compare_are_named_with_their_size(plates: Path) -> None:
    for name in ("key", "lamp"):
        tiny = {n + 1: draw_frame(n)[:30, :40] for n in range(FRAMES)}
        write_exr_pass(plates, f"{name}_tiny", tiny)
    passes = {
        "key": exr_pass("key_tiny"),
        "lamp": exr_pass("lamp_tiny", start_offset="auto"),
    }

    problem = only(check(plates, passes=passes))

    assert problem.rank is Rank.STOPS_SHOT
    assert problem.place.pass_name == "lamp"
    assert (problem.seen, problem.expected) == ("40 x 30 pixels", "at least 37 x 37")


def test_a_pass_that_is_not_used_is_not_compared(plates: Path) -> None:
    checked = check(plates, recipe=[{"pass": "key"}])

    assert checked.problems == ()
    assert checked.passes["lamp"].start_offset == 0


def test_one_still_held_over_the_shot_needs_no_offset(plates: Path) -> None:
    checked = check(plates, lamp={"files": "plates:lamp/lamp.0013.exr"})

    assert checked.problems == ()
    assert checked.passes["lamp"].start_offset == 0


def test_a_lost_lease_ends_the_comparing(plates: Path) -> None:
    asked = []

    def lost() -> None:
        asked.append(1)
        if len(asked) == 3:
            raise LeaseLost("cancelled")

    with pytest.raises(LeaseLost):
        check_shot(job_of(), Roots(small_roots(plates)), still_wanted=lost)
    assert len(asked) == 3


def test_a_changed_file_is_compared_again(plates: Path) -> None:
    keep = Keep(plates / "kept")
    roots = Roots(small_roots(plates))
    first = check_shot(job_of(), roots, keep).passes["lamp"]
    write_exr_pass(plates, "lamp", {n + 11: draw_frame(n - 1, "side") for n in range(FRAMES + 3)})

    second = check_shot(job_of(), roots, keep).passes["lamp"]

    assert (first.start_offset, second.start_offset) == (2, 1)


def test_a_still_is_made_of_the_files_that_were_found(plates: Path, tmp_path: Path) -> None:
    roots = Roots(small_roots(plates))
    quick = {"align": "none"}
    found = make_still(job_of(lamp=quick), 1004, roots, tmp_path / "a")
    stated = make_still(job_of(lamp={**quick, "start_offset": 2}), 1004, roots, tmp_path / "b")
    off = make_still(job_of(lamp={**quick, "start_offset": 1}), 1004, roots, tmp_path / "c")

    assert np.array_equal(found.rgb, stated.rgb)
    assert found.attributes == stated.attributes
    assert not np.array_equal(found.rgb, off.rgb)


def test_a_still_of_an_offset_that_is_not_certain_is_refused_with_the_question(
    plates: Path, tmp_path: Path
) -> None:
    job = job_of(
        recipe=[
            {"pass": "key"},
            {
                "pass": "lamp",
                "stops": [{"frame": 1002, "value": 0}, {"frame": 1003, "value": "out"}],
            },
        ]
    )

    with pytest.raises(JobError, match=r"with which file does pass lamp start.*start_offset: 2"):
        make_still(job, 1001, Roots(small_roots(plates)), tmp_path / "kept")


def test_an_offset_applied_one_file_off_would_show(
    plates: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    roots, job = Roots(small_roots(plates)), job_of(lamp={"align": "none"})
    right = make_still(job, 1004, roots, tmp_path / "kept")

    def one_off(job: ShotJob, checked: Checked) -> ShotJob:
        lamp = job.passes["lamp"].model_copy(update={"start_offset": 3})
        return settled(job, checked).model_copy(update={"passes": {**job.passes, "lamp": lamp}})

    monkeypatch.setattr("glimsum_workers.looking.one_frame.settled", one_off)
    wrong = make_still(job, 1004, roots, tmp_path / "kept")

    assert not np.array_equal(right.rgb, wrong.rgb)
