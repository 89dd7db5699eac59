"""Submitting: on disk and in the ledger, the same job once, nothing half made."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from glimsum_jobs.errors import JobError, OutputError, PathError
from glimsum_jobs.ledger import RunState
from glimsum_jobs.orders import RunOrder
from glimsum_jobs.paths import RootPath
from glimsum_jobs.shot import ShotJob
from glimsum_services.folders import make_version_folder, open_file, remove_folder, write_whole
from glimsum_services.job_file import Asked, read_text
from glimsum_services.store.ledger import RedisLedger
from glimsum_services.store.shots import Shots
from glimsum_services.submit import Submissions, change_job, digest_job, merge_patch
from support.api_work import SHOT
from support.server import running_server


@pytest.fixture(scope="module")
def url() -> Iterator[str]:
    with running_server() as (_, url):
        yield url


@pytest.fixture
def submissions(url: str, tmp_path: Path) -> Iterator[Submissions]:
    from glimsum_services.store.connection import connect

    client = connect(url)
    client.flushall()
    (tmp_path / "out").mkdir()
    yield Submissions(Shots(client), RedisLedger(client), {"out": tmp_path / "out"})
    client.close()


def asked(*changes: dict[str, Any]) -> Asked:
    trees = [SHOT | change for change in changes or ({},)]
    return read_text(json.dumps({"jobs": trees}).encode(), "json")


def test_a_job_is_on_disk_and_in_the_ledger_when_it_is_taken(
    submissions: Submissions, tmp_path: Path
) -> None:
    taken = submissions.submit(asked())[0]

    file = tmp_path / "out" / "mole_040" / "v001" / "job.json"
    assert RunOrder.model_validate_json(file.read_text()) == taken.order
    record = submissions._ledger.record("mole_040/v001")
    assert record is not None
    assert record.state is RunState.CHECKING
    assert submissions._shots.order("mole_040/v001") == taken.order
    text = file.with_name("job_as_written.txt").read_text()
    assert text == submissions._shots.job_text(taken.order.job_digest)
    assert len(list(file.parent.iterdir())) == 2


def test_the_same_job_again_is_the_same_version(submissions: Submissions, tmp_path: Path) -> None:
    first = submissions.submit(asked())[0]
    again = submissions.submit(asked(dict(reversed(SHOT.items()))))[0]

    assert (first.new, again.new) == (True, False)
    assert again.order == first.order
    assert [each.name for each in (tmp_path / "out" / "mole_040").iterdir()] == ["v001"]


def test_a_changed_job_is_the_next_version(submissions: Submissions) -> None:
    submissions.submit(asked())
    changed = submissions.submit(asked({"rate": 25}))[0]
    assert (changed.new, changed.order.folder) == (True, "out:mole_040/v002")


def test_a_version_folder_that_is_there_is_never_used_again(
    submissions: Submissions, tmp_path: Path
) -> None:
    (tmp_path / "out" / "mole_040" / "v007").mkdir(parents=True)
    assert submissions.submit(asked())[0].order.version == 8


def test_nothing_is_made_when_one_of_several_jobs_is_wrong(
    submissions: Submissions, tmp_path: Path
) -> None:
    with pytest.raises(JobError, match=r"seen: elsewhere; expected: one of: out\."):
        submissions.submit(asked({}, {"shot": "mole_050", "output": "elsewhere:x"}))
    assert list((tmp_path / "out").iterdir()) == []


def test_a_shot_that_stands_twice_is_refused(submissions: Submissions) -> None:
    with pytest.raises(JobError, match=r"stands twice \(shot mole_040\); seen: 2 jobs"):
        submissions.submit(asked({}, {"rate": 25}))


def test_an_output_that_can_not_be_written_is_named(
    submissions: Submissions, tmp_path: Path
) -> None:
    (tmp_path / "out" / "mole_040").write_text("a file")
    with pytest.raises(PathError, match="out:mole_040"):
        submissions.submit(asked())


def test_an_output_through_a_link_is_refused(tmp_path: Path) -> None:
    (tmp_path / "root").mkdir()
    (tmp_path / "root" / "a").symlink_to(tmp_path)
    with pytest.raises(PathError, match="a link or a file stands where a folder is needed"):
        make_version_folder({"out": tmp_path / "root"}, RootPath("out", "a/b"), 0)


@pytest.mark.parametrize("name", ["../secret", "a/../../secret", "/secret", "a\x00", ""])
def test_reading_never_leaves_the_version_folder(tmp_path: Path, name: str) -> None:
    (tmp_path / "v001").mkdir()
    (tmp_path / "secret").write_text("s")
    with pytest.raises(PathError):
        open_file({"out": tmp_path}, RootPath("out", "v001"), name)


def test_reading_follows_no_link(tmp_path: Path) -> None:
    (tmp_path / "v001").mkdir()
    (tmp_path / "secret").write_text("s")
    (tmp_path / "v001" / "a.jpg").symlink_to(tmp_path / "secret")
    with pytest.raises(PathError, match=r"out:v001/a\.jpg"):
        open_file({"out": tmp_path}, RootPath("out", "v001"), "a.jpg")


def test_a_file_that_can_not_be_written_leaves_nothing(tmp_path: Path) -> None:
    (tmp_path / "job.json").mkdir()
    with pytest.raises(OutputError, match=r"job\.json can't be written"):
        write_whole(tmp_path, "job.json", b"{}")
    assert [each.name for each in tmp_path.iterdir()] == ["job.json"]


def test_the_digest_does_not_depend_on_order_or_spelling() -> None:
    job = ShotJob.model_validate(SHOT)
    other = ShotJob.model_validate(dict(reversed((SHOT | {"rate": "24"}).items())))
    assert digest_job(job) == digest_job(other)
    assert digest_job(job) != digest_job(ShotJob.model_validate(SHOT | {"rate": 25}))


# RFC 7396, appendix A (quoted from memory), complete.
@pytest.mark.parametrize(
    ("target", "patch", "expected"),
    [
        ({"a": "b"}, {"a": "c"}, {"a": "c"}),
        ({"a": "b"}, {"b": "c"}, {"a": "b", "b": "c"}),
        ({"a": "b"}, {"a": None}, {}),
        ({"a": "b", "b": "c"}, {"a": None}, {"b": "c"}),
        ({"a": ["b"]}, {"a": "c"}, {"a": "c"}),
        ({"a": "c"}, {"a": ["b"]}, {"a": ["b"]}),
        ({"a": {"b": "c"}}, {"a": {"b": "d", "c": None}}, {"a": {"b": "d"}}),
        ({"a": [{"b": "c"}]}, {"a": [1]}, {"a": [1]}),
        (["a", "b"], ["c", "d"], ["c", "d"]),
        ({"a": "b"}, ["c"], ["c"]),
        ({"a": "foo"}, None, None),
        ({"a": "foo"}, "bar", "bar"),
        ({"e": None}, {"a": 1}, {"e": None, "a": 1}),
        ([1, 2], {"a": "b", "c": None}, {"a": "b"}),
        ({}, {"a": {"bb": {"ccc": None}}}, {"a": {"bb": {}}}),
    ],
)
def test_changes_are_made_as_the_standard_says(target: Any, patch: Any, expected: Any) -> None:
    assert merge_patch(target, patch) == expected


def test_a_change_can_not_rename_the_shot() -> None:
    with pytest.raises(JobError, match="seen: mole_041; expected: mole_040"):
        change_job(ShotJob.model_validate(SHOT), {"shot": "mole_041"})


def test_a_folder_is_removed_with_its_files_and_nothing_a_link_leads_to(tmp_path: Path) -> None:
    roots = {"out": tmp_path / "out"}
    folder, other = tmp_path / "out" / "a" / "w001", tmp_path / "other"
    folder.mkdir(parents=True)
    other.mkdir()
    (other / "kept").write_text("x")
    (folder / "sheet.jpg").write_text("x")
    (folder / "link").symlink_to(other)

    remove_folder(roots, RootPath("out", "a/w001"))

    assert (folder.exists(), (other / "kept").exists()) == (False, True)
    (tmp_path / "out" / "a" / "w002").symlink_to(other)
    with pytest.raises(PathError, match="a link or a file stands"):
        remove_folder(roots, RootPath("out", "a/w002"))
    inner = tmp_path / "out" / "a" / "w003" / "inner"
    inner.mkdir(parents=True)
    with pytest.raises(OutputError, match=r"a folder can't be removed \(file out:a/w003\)"):
        remove_folder(roots, RootPath("out", "a/w003"))
    assert inner.exists()


@pytest.mark.parametrize("end", [RunState.REFUSED, RunState.CANCELLED])
def test_the_same_job_is_tried_again_where_its_version_came_to_nothing(
    submissions: Submissions, end: RunState
) -> None:
    first = submissions.submit(asked())[0]
    submissions._ledger.end(first.order.run, end, "a folder stands where a file is named")

    again = submissions.submit(asked())[0]
    assert (again.new, again.order.run) == (True, "mole_040/v002")
    assert not submissions.submit(asked())[0].new
