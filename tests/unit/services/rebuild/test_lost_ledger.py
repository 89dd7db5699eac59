"""The ledger is lost, the disk is not: no finished frame is made again, no damaged one stays."""

import json
import os
import shutil
import subprocess
import sys
from importlib.metadata import version
from pathlib import Path

import pytest

from glimsum_jobs.ledger import Control, Hours, ItemState, RunState, Stage
from glimsum_services.joining import Maker
from glimsum_services.store.joined import Joined
from glimsum_workers.light.fingerprint import PIXEL_EPOCH
from support.night_here import FILMED, FRAMES, RUN, Interrupted, Night, night_job
from support.small_shots import exr_pass, raw_small_shot


def undisturbed(night: Night) -> dict[str, str]:
    """Return what a night without trouble makes, by path, with the version's number left out."""
    (run,) = night.submit(night_job(shot="calm", output="out:calm", **FILMED))
    assert night.finish(run) is RunState.DONE
    night.performed.clear()
    return bare(night.masters(run))


def bare(masters: dict[str, str]) -> dict[str, str]:
    names = {path: path.replace("calm", "small").replace("v002", "v001") for path in masters}
    # The contact sheet has the name of the run drawn into it.
    return {names[p]: d for p, d in masters.items() if not p.endswith("_contact.jpg")}


def test_a_ledger_lost_in_mid_night_is_made_again_and_no_finished_frame_twice(
    night: Night,
) -> None:
    calm = undisturbed(night)
    (run,) = night.submit(night_job(**FILMED))
    night.work_frames(run, 4)
    before = {stage: night.ledger.items(run, stage) for stage in (Stage.CHECK, Stage.MEASURE)}
    solved = night.ledger.items(run, Stage.SOLVE)

    night.forget()
    shutil.rmtree(night.roots["out"] / "calm")
    rebuilt = night.rebuild()

    (told,) = rebuilt.runs
    assert (told.run, told.what, told.state) == (run, "restored", "combining")
    assert (told.frames, told.done, told.to_make, told.damaged) == (FRAMES, 4, 2, ())
    assert rebuilt.problems == ()
    assert night.ledger.items(run, Stage.SOLVE)[0].result == solved[0].result
    for stage, items in before.items():
        restored = night.ledger.items(run, stage)
        assert [each.result for each in restored] == [each.result for each in items]
    assert night.shots.job_text(night.shots.order(run).job_digest) == "# as small was written\n"

    assert night.finish(run) is RunState.DONE
    assert bare(night.masters(run)) == calm
    assert {count for item, count in night.performed.items()} == {1}
    assert night.frames_done(run) == FRAMES


def test_a_ledger_lost_at_the_end_is_made_again_and_nothing_is_begun(night: Night) -> None:
    (run,) = night.submit(night_job())
    night.finish(run)
    files = {path: path.stat().st_mtime_ns for path in night.roots["out"].rglob("*.exr")}
    ended = night.record(run).ended
    night.performed.clear()

    night.forget()
    (told,) = night.rebuild().runs

    record = night.record(run)
    assert (told.state, told.done, told.to_make) == ("done", FRAMES, 0)
    assert record.state is RunState.DONE
    assert record.ended == pytest.approx(ended, abs=5)
    assert night.finish(run) is RunState.DONE
    assert night.performed == {}
    assert {path: path.stat().st_mtime_ns for path in night.roots["out"].rglob("*.exr")} == files
    assert night.submit(night_job()) == [run]  # the same job is the same version still


def damage(path: Path) -> None:
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(data)


def test_a_master_with_a_wrong_digest_or_none_is_made_again_and_the_others_stay(
    night: Night,
) -> None:
    calm = undisturbed(night)
    (run,) = night.submit(night_job(**FILMED))
    night.finish(run)
    masters = night.roots["out"] / "small" / "v001" / "master"
    damage(masters / "small_v001.1003.exr")
    (masters / "small_v001.1005.exr").unlink()
    night.performed.clear()

    night.forget()
    shutil.rmtree(night.roots["out"] / "calm")
    (told,) = night.rebuild().runs

    assert (told.state, told.done, told.to_make) == ("combining", FRAMES - 2, 2)
    assert told.damaged == ("1003", "1005")
    assert night.finish(run) is RunState.DONE
    assert night.performed == {"combine/1003": 1, "combine/1005": 1, "finish/shot": 1}
    assert bare(night.masters(run)) == calm


def test_damage_in_a_run_the_ledger_still_has_is_found_and_mended_too(night: Night) -> None:
    (run,) = night.submit(night_job())
    night.finish(run)
    (told,) = night.rebuild().runs
    assert told.what == "in the ledger already, and whole: left as it is"

    damage(night.roots["out"] / "small" / "v001" / "master" / "small_v001.1002.exr")
    assert night.rebuild(quick=True).runs[0].damaged == ()
    (told,) = night.rebuild().runs
    assert (told.what, told.damaged) == (
        "reopened: masters are not as they were written",
        ("1002",),
    )
    night.performed.clear()
    assert night.finish(run) is RunState.DONE
    assert night.performed == {"combine/1002": 1, "finish/shot": 1}


def test_a_run_at_work_is_left_alone(night: Night) -> None:
    (run,) = night.submit(night_job())
    night.work_frames(run, 2)
    before = night.record(run)
    (told,) = night.rebuild().runs
    assert (told.what, told.done) == ("at work already: left as it is", 2)
    assert night.record(run) == before


@pytest.mark.parametrize("stage", ["check", "measure", "solve", "combine", "finish"])
def test_a_death_between_the_line_and_the_ledger_costs_nothing(night: Night, stage: str) -> None:
    (run,) = night.submit(night_job())
    with pytest.raises(Interrupted):
        night.work(run, die=lambda claim: claim.stage.value == stage)
    begun = night.performed.copy()

    night.forget()
    night.rebuild()

    assert night.finish(run) is RunState.DONE
    assert all(night.performed[item] == 1 for item in begun)


def test_a_job_is_on_the_disk_before_it_is_answered_for(night: Night, url: str) -> None:
    # A process that dies between disk and ledger: what it leaves is taken up by a rebuild.
    dying = """
import json, os, sys
from pathlib import Path
from glimsum_jobs.reading import read_shot
from glimsum_services.job_file import Asked
from glimsum_services.store.connection import connect
from glimsum_services.store.ledger import RedisLedger
from glimsum_services.store.shots import Shots
from glimsum_services.submit import Submissions

class Dying(Shots):
    def keep(self, order, text):
        os._exit(9)

client = connect(sys.argv[1])
roots = {"out": Path(sys.argv[2])}
job, _ = read_shot(json.loads(sys.argv[3]))
Submissions(Dying(client), RedisLedger(client), roots).submit(Asked(None, (job,), ("text",), ()))
"""
    tree = raw_small_shot(passes={"key": exr_pass("key")}, frames={"first": 1001, "last": 1002})
    words = [url, str(night.roots["out"]), json.dumps(tree)]
    known = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    ended = subprocess.run([sys.executable, "-c", dying, *words], env=known, check=False)
    assert ended.returncode == 9
    assert night.ledger.record(RUN) is None

    (told,) = night.rebuild().runs
    assert (told.run, told.state, told.to_make) == (RUN, "checking", 2)
    assert night.finish(RUN) is RunState.DONE


def test_wishes_and_sequences_come_back(night: Night) -> None:
    jobs = [night_job(shot=name, output=f"out:{name}") for name in ("a", "b", "c")]
    runs = night.submit(*jobs, sequence="mole", priority=80)
    hours = Hours(window=(1200, 300))
    night.ledger.control("a/v001", Control.CANCEL)
    night.ledger.control("b/v001", Control.PAUSE, 90, hours)
    night.work("b/v001")

    night.forget()
    night.rebuild()

    assert night.shots.sequence("mole") == runs
    assert night.record("a/v001").state is RunState.CANCELLED
    record = night.record("b/v001")
    assert (record.control, record.priority, record.hours) == (Control.PAUSE, 90, hours)
    assert night.record("c/v001").priority == 80
    assert night.ledger.open_runs() == ["b/v001", "c/v001"]


def test_a_run_begun_by_one_program_is_not_gone_on_with_by_another(night: Night) -> None:
    (run,) = night.submit(night_job())
    night.work_frames(run, 2)
    night.forget()
    night.rebuild()
    began = Joined(night.client).begin(run, "9.9 pixels 77")
    assert began == str(Maker(version("glimsum"), PIXEL_EPOCH))


def test_a_wish_is_heard_though_the_disk_can_not_keep_it(
    night: Night, caplog: pytest.LogCaptureFixture
) -> None:
    (run,) = night.submit(night_job())
    version_folder = night.roots["out"] / "small" / "v001"
    version_folder.rename(version_folder.with_name("unplugged"))
    assert night.ledger.control(run, Control.CANCEL)
    assert night.record(run).state is RunState.CANCELLED
    assert "small/v001: what is wanted is not kept on the disk" in caplog.text


def test_a_wish_that_came_too_late_is_not_kept(night: Night) -> None:
    (run,) = night.submit(night_job())
    night.finish(run)
    assert not night.ledger.control(run, Control.CANCEL)
    damage(night.roots["out"] / "small" / "v001" / "master" / "small_v001.1002.exr")
    night.forget()
    assert night.rebuild().runs[0].state == "combining"


def test_a_frame_that_was_set_aside_keeps_its_reason_in_a_finished_run(night: Night) -> None:
    path = night.roots["plates"] / "key" / "key.0002.exr"
    whole = path.read_bytes()
    (run,) = night.submit(night_job())
    night.work(run, 1)
    path.write_bytes(whole[: len(whole) // 3])  # it breaks after the check
    assert night.finish(run) is RunState.DONE_WITH_REMARKS
    before = night.ledger.items(run, Stage.COMBINE)[1]

    night.forget()
    (told,) = night.rebuild().runs

    after = night.ledger.items(run, Stage.COMBINE)[1]
    assert (told.state, told.set_aside) == ("done with remarks", 1)
    assert after.state is ItemState.SET_ASIDE
    assert before.failure is not None
    assert after.failure is not None
    assert after.failure.message == before.failure.message
    # It can be tried again once the file is mended.
    path.write_bytes(whole)
    assert night.ledger.retry(run, Stage.COMBINE) == 1
    night.finish(run)
    assert night.frames_done(run) == FRAMES
