"""What is wrong with an earlier version never gets into a later one."""

import hashlib
import json
import shutil
from pathlib import Path

import pytest

from glimsum_jobs.errors import LeaseLost
from glimsum_jobs.ledger import Control, RunState, Stage
from glimsum_jobs.problems import Rank
from glimsum_workers.perform import Performer
from support.reuse_shot import ALL, BASE, files, make, taken, write_plates
from support.run_here import open_run, work_through
from support.small_shots import small_roots, small_shot


@pytest.fixture
def plates(tmp_path: Path) -> Path:
    return write_plates(tmp_path)


def test_a_damaged_earlier_master_is_named_and_its_frame_combined_anew(plates: Path) -> None:
    first = make(plates, 1)
    whole = files(first)
    data = bytearray(first.master(1002).read_bytes())
    data[-100] ^= 1
    first.master(1002).write_bytes(data)

    second = make(plates, 2)

    assert taken(second) == {1001: "v001", 1003: "v001"}
    assert files(second) == whole
    (remark,) = second.finished.remarks
    assert remark.rank is Rank.REMARK
    assert remark.what.startswith("the master of an earlier version is damaged")
    assert (remark.place.frame, remark.place.file) == (
        1002,
        "out:small/v001/master/small_v001.1002.exr",
    )
    assert remark.expected == f"SHA-256 {whole[1]}"
    assert remark.seen == f"SHA-256 {hashlib.sha256(data).hexdigest()}"
    assert not list(second.folder.rglob("*.part"))


def test_a_damaged_newer_master_is_passed_by_for_an_older_whole_one(plates: Path) -> None:
    make(plates, 1)
    second = make(plates, 2)
    second.master(1001).write_bytes(b"")

    third = make(plates, 3)

    assert taken(third) == {1001: "v001", 1002: "v002", 1003: "v002"}
    assert len(third.finished.remarks) == 1


def test_masters_that_a_person_has_thrown_away_are_made_again_without_a_word(
    plates: Path,
) -> None:
    first = make(plates, 1)
    whole = files(first)
    shutil.rmtree(first.folder / "master")

    second = make(plates, 2)

    assert taken(second) == {}
    assert files(second) == whole
    assert second.finished.remarks == ()


def test_a_version_without_a_manifest_is_told_by_the_lines_of_its_workers(plates: Path) -> None:
    first = make(plates, 1)
    (first.folder / "manifest.json").unlink()
    with next((first.folder / "lines").iterdir()).open("ab") as lines:
        lines.write(b'{"stage": "combine", "item": "10')  # a worker died in the middle of it

    second = make(plates, 2)

    assert taken(second) == dict.fromkeys(ALL, "v001")
    assert files(second) == files(first)


def test_a_name_that_leads_out_of_the_version_is_not_followed(plates: Path) -> None:
    first = make(plates, 1)
    path = first.folder / "manifest.json"
    manifest = json.loads(path.read_text())
    for each in manifest["frames"]:
        outside = plates / f"outside.{each['frame']}.exr"
        shutil.copy(first.master(each["frame"]), outside)
        each["name"] = f"../../../{outside.name}"
    path.write_text(json.dumps(manifest))

    second = make(plates, 2)

    assert taken(second) == {}
    assert files(second) == files(first)


def test_a_manifest_of_nonsense_costs_nothing_but_the_time_to_combine(plates: Path) -> None:
    first = make(plates, 1)
    whole = files(first)
    (first.folder / "manifest.json").write_text('{"frames": [{"frame": 1001}, 7]}')

    second = make(plates, 2)

    assert files(second) == whole
    assert second.state is RunState.DONE


def test_a_lease_lost_before_the_rename_leaves_no_file(plates: Path) -> None:
    make(plates, 1)
    run = open_run(small_shot(**BASE), small_roots(plates), version=2)
    run = work_through(run, until=Stage.COMBINE)
    claim = run.ledger.claim("here/1", run.order.run)
    assert claim is not None
    asked: list[int] = []

    def lost_at_the_end() -> Control:
        asked.append(1)
        if len(asked) > 1:  # once before copying, then right before the rename
            raise LeaseLost("another holds it")
        return Control.RUN

    performer = Performer(run.ledger, run.roots, "here")
    with pytest.raises(LeaseLost, match="another holds it"):
        performer(run.order, claim, lost_at_the_end)
    performer.close()

    assert len(asked) == 2
    assert list((run.folder / "master").iterdir()) == []
