"""For every kind of trouble a night can have, the report names it on top, with what to do."""

import pytest

from glimsum_jobs.ledger import Cause, Failure, RunState, Stage
from glimsum_services.report.night import Reporter
from support.night_here import FRAMES, RUN, Night, night_job
from support.night_report import cut, hear, kinds, named
from support.small_shots import exr_pass


def fail_all(night: Night, stage: Stage, cause: Cause, message: str) -> None:
    """Fail the next item of a stage until it is set aside."""
    item = None
    for _ in range(3):
        claim = night.ledger.claim("m/1", RUN, (stage,))
        assert claim is not None
        item = item or claim.item
        night.ledger.fail(claim, Failure(cause=cause, kind="Error", message=message))


def test_a_night_without_trouble_has_nothing_on_top(night: Night, reporter: Reporter) -> None:
    (run,) = night.submit(night_job())
    assert night.finish(run) is RunState.DONE
    hear(night, "attic")

    report = reporter.night(None)

    assert (report.first, report.more_first, report.notes, report.gaps) == ([], 0, [], [])
    (shot,) = report.shots
    assert (shot.state, shot.asked, shot.made, shot.set_aside, shot.left) == (
        "done",
        FRAMES,
        FRAMES,
        0,
        0,
    )
    assert sum(share.frames for share in shot.machines) == FRAMES
    assert shot.frame_seconds is not None
    times = shot.frame_seconds
    assert 0 <= times.median <= times.p95 <= times.longest
    assert len({each.frame for each in shot.slowest}) == 5
    assert [each.host for each in report.machines] == ["attic"]


def test_a_shot_the_check_refused(night: Night, reporter: Reporter) -> None:
    (run,) = night.submit(night_job(passes={"key": exr_pass("gone"), "leak": exr_pass("leak")}))
    assert night.finish(run) is RunState.REFUSED
    matter = named(reporter.night(None), "refused")
    assert (matter.run, matter.pass_name) == (run, "key")
    assert "plates:gone" in matter.what
    assert reporter.night(None).totals.refused == 1


def test_a_file_that_was_dead_when_it_was_checked(night: Night, reporter: Reporter) -> None:
    cut(night.roots["plates"] / "key" / "key.0002.exr")
    (run,) = night.submit(night_job())
    night.finish(run)
    matter = named(reporter.night(None), "set aside")
    assert (matter.run, matter.frames, matter.count) == (run, "1002", 1)
    assert "key.0002.exr" in matter.what
    assert matter.remedy.endswith(f"glimsum retry {run}")


def test_frames_that_broke_in_the_night_told_once_with_all_their_numbers(
    night: Night, reporter: Reporter
) -> None:
    (run,) = night.submit(night_job(passes={"key": exr_pass("key")}))
    night.work(run, 1)
    for number in (2, 3, 5):
        cut(night.roots["plates"] / "key" / f"key.{number:04d}.exr")
    assert night.finish(run) is RunState.DONE_WITH_REMARKS
    report = reporter.night(None)
    matter = named(report, "set aside")
    assert (matter.frames, matter.count) == ("1002 to 1003, 1005", 3)
    (shot,) = report.shots
    assert (shot.made, shot.set_aside, shot.left) == (FRAMES - 3, 3, 0)


@pytest.mark.parametrize("cause", [Cause.ERROR, Cause.PROCESS_LOST])
def test_a_frame_that_failed_three_times(night: Night, reporter: Reporter, cause: Cause) -> None:
    (run,) = night.submit(night_job())
    night.work_frames(run, 1)
    fail_all(night, Stage.COMBINE, cause, "no light on this frame")
    matter = named(reporter.night(None), "set aside")
    assert (matter.frames, matter.what) == ("1002", "no light on this frame")


def test_a_frame_that_came_back_once_is_counted_though_it_was_made(
    night: Night, reporter: Reporter
) -> None:
    (run,) = night.submit(night_job())
    night.work_frames(run, 1)
    claim = night.ledger.claim("m/1", run)
    assert claim is not None
    night.ledger.fail(claim, Failure(cause=Cause.ERROR, kind="Error", message="once"))
    night.finish(run)
    assert reporter.night(None).shots[0].came_back == 1


def test_a_stage_that_failed(night: Night, reporter: Reporter) -> None:
    night.submit(night_job())
    fail_all(night, Stage.CHECK, Cause.ERROR, "no answer from the storage")
    night.pass_barrier(RUN)
    report = reporter.night(None)
    assert report.shots[0].state == "refused"
    assert "check failed: no answer from the storage" in named(report, "stage failed").what


@pytest.mark.parametrize("state", [RunState.REFUSED, RunState.DONE_WITH_REMARKS])
def test_an_end_without_any_reason_is_told_all_the_same(
    night: Night, reporter: Reporter, state: RunState
) -> None:
    night.submit(night_job())
    night.ledger.end(RUN, state)
    (matter,) = [each for each in reporter.night(None).first if each.run == RUN]
    assert matter.what == f"it ended as {state.value}, and no reason was kept"


def test_a_reason_that_the_ledger_alone_has(night: Night, reporter: Reporter) -> None:
    night.submit(night_job())
    night.ledger.end(RUN, RunState.REFUSED, "nothing can be planned after check: no such pass")
    assert "no such pass" in named(reporter.night(None), "refused").what


def test_a_measurement_that_is_missing(night: Night, reporter: Reporter) -> None:
    night.submit(night_job())
    night.work(RUN, 1)
    night.pass_barrier(RUN)
    fail_all(night, Stage.MEASURE, Cause.ERROR, "unreadable")
    matter = named(reporter.night(None), "set aside")
    assert (matter.seen, matter.pass_name != "") == ("unreadable", True)
    assert matter.what.startswith("a measurement is missing: ")


def test_a_master_that_was_damaged_before_the_finish(night: Night, reporter: Reporter) -> None:
    (run,) = night.submit(night_job())
    night.work_frames(run, FRAMES)
    master = night.roots["out"] / "small" / "v001" / "master" / "small_v001.1004.exr"
    cut(master)
    assert night.finish(run) is RunState.DONE_WITH_REMARKS
    matter = named(reporter.night(None), "damaged master")
    assert (matter.frames, "small_v001.1004.exr" in matter.what) == ("1004", True)
    assert "glimsum rebuild" in matter.remedy
    night.rebuild()
    night.finish(run)
    assert "damaged master" not in kinds(reporter.night(None))


def test_two_results_for_one_frame(night: Night, reporter: Reporter) -> None:
    (run,) = night.submit(night_job())
    night.work_frames(run, 1)
    claim = night.ledger.claim("m/1", run)
    assert claim is not None
    night.ledger.done(claim.model_copy(update={"item": "1001"}), {"digest": "another"})
    assert named(reporter.night(None), "conflict").what.startswith("1 frames came out differently")


@pytest.mark.parametrize(
    ("what", "remedy", "kind"),
    [
        ("with which file does pass key start?", "State start_offset.", "question"),
        ("The camera stood elsewhere in this pass: plan a retake of the pass", "Again.", "retake"),
        ("the place of pass key is not sure on 3 of 6 frames", "Compare.", "not trusted"),
    ],
)
def test_what_measuring_found(
    night: Night, reporter: Reporter, what: str, remedy: str, kind: str
) -> None:
    (run,) = night.submit(night_job())
    while night.record(run).stage is not Stage.SOLVE:
        night.work(run, 1)
        night.pass_barrier(run)
    claim = night.ledger.claim("m/1", run)
    assert claim is not None
    place = {"shot": "small", "pass_name": "key"}
    problem = {"rank": "remark", "what": what, "place": place, "remedy": remedy}
    solved = {"averages": {}, "levels": {}, "problems": [problem], "revision": "0" * 64}
    night.ledger.done(claim, solved)
    matter = named(reporter.night(None), kind)
    assert (matter.what, matter.pass_name) == (what, "key")


def test_remarks_are_told_with_the_shot(night: Night, reporter: Reporter) -> None:
    sample = night.roots["plates"] / "key" / "key.0003.exr"
    whole = sample.read_bytes()
    (run,) = night.submit(night_job())
    night.work(run, 1)
    cut(sample)
    while night.record(run).stage is not Stage.COMBINE:
        night.work(run, 1)
        night.pass_barrier(run)
    sample.write_bytes(whole)
    assert night.finish(run) is RunState.DONE_WITH_REMARKS
    (remark,) = [
        each for each in reporter.night(None).shots[0].remarks if "level of pass" in each.what
    ]
    assert (remark.frames, remark.pass_name, remark.remedy != "") == ("1003", "key", True)


def test_missing_files_that_their_neighbours_stand_in_for(night: Night, reporter: Reporter) -> None:
    (night.roots["plates"] / "key" / "key.0004.exr").unlink()
    (run,) = night.submit(night_job(passes={"key": exr_pass("key", missing="nearest")}))
    night.finish(run)
    told = [each.what for each in reporter.night(None).shots[0].remarks]
    assert "1 files of pass key are missing and their nearest stand in" in told
