"""What a rebuild can't use is named and left out; what it finds twice it takes once."""

import shutil
from pathlib import Path

from glimsum_jobs.ledger import RunState
from glimsum_jobs.orders import WedgeOrder
from glimsum_jobs.varied import Varied
from glimsum_services.store.ledger import RedisLedger
from glimsum_services.store.wedges import Wedges
from glimsum_services.version_disk import find_versions
from glimsum_services.wedge_desk import WedgeDesk
from support.night_here import FRAMES, RUN, Night, night_job


def test_a_job_submitted_again_after_that_is_not_made_twice(night: Night) -> None:
    (run,) = night.submit(night_job())
    night.forget()  # the ledger never heard of it
    (again,) = night.submit(night_job())
    assert (run, again) == (RUN, "small/v002")

    rebuilt = night.rebuild()
    assert [told.run for told in rebuilt.runs] == ["small/v002"]
    assert [problem.what for problem in rebuilt.problems] == [
        "nothing was ever made in this version, and its job was submitted again"
    ]


def test_a_line_torn_by_a_death_is_named_and_its_frame_made_again(night: Night) -> None:
    (run,) = night.submit(night_job())
    night.work_frames(run, 3)
    (lines,) = (night.roots["out"] / "small" / "v001" / "lines").iterdir()
    lines.write_bytes(lines.read_bytes()[:-40])
    night.performed.clear()

    night.forget()
    rebuilt = night.rebuild()

    assert rebuilt.runs[0].done == 2
    (problem,) = rebuilt.problems
    assert "a worker died in the middle of it" in problem.what
    assert problem.place.file == f"out:small/v001/lines/{lines.name}"
    night.finish(run)
    assert night.performed["combine/1003"] == 1


def test_copies_moved_and_changed_versions_are_named_and_left_out(night: Night) -> None:
    (run,) = night.submit(night_job())
    night.finish(run)
    out = night.roots["out"]
    shutil.copytree(out / "small", out / "backup" / "small")
    night.submit(night_job(shot="other", output="out:other"))
    file = out / "other" / "v001" / "job.json"
    file.write_text(file.read_text().replace('"locked"', '"moving"'))
    (out / "elsewhere" / "v003").mkdir(parents=True)
    (out / "elsewhere" / "v003" / "job.json").write_text("{}")

    night.forget()
    rebuilt = night.rebuild()

    assert [told.run for told in rebuilt.runs] == [run]
    whats = {problem.place.file: problem.what for problem in rebuilt.problems}
    assert whats == {
        "out:backup/small/v001/job.json": "this is a copy of a version, or a version that was "
        "moved",
        "out:other/v001/job.json": "the job of a version was changed after it was made",
        "out:elsewhere/v003/job.json": "the job of a version can't be read",
    }


def test_versions_are_found_once_through_roots_one_in_the_other_and_not_through_links(
    night: Night, tmp_path: Path
) -> None:
    night.submit(night_job())
    (tmp_path / "link").symlink_to(night.roots["out"])
    (tmp_path / "out" / "loop").symlink_to(tmp_path)
    assert [str(path) for path in find_versions(night.roots)] == ["out:small/v001"]


def test_a_finished_version_whose_lines_are_gone_is_told_from_its_manifest(night: Night) -> None:
    (run,) = night.submit(night_job())
    night.finish(run)
    shutil.rmtree(night.roots["out"] / "small" / "v001" / "lines")
    night.performed.clear()

    night.forget()
    (told,) = night.rebuild().runs

    assert (told.state, told.done) == ("done", FRAMES)
    assert night.finish(run) is RunState.DONE
    assert night.performed == {}


def test_wedges_are_left_alone_and_none_gets_the_number_of_one_on_disk(night: Night) -> None:
    (run,) = night.submit(night_job())
    night.finish(run)
    varied = [Varied(name="key", values=(0.0, 1.0))]

    def ask() -> WedgeOrder:
        desk = WedgeDesk(Wedges(night.client), RedisLedger(night.client), night.roots)
        return desk.ask(night.shots.order(run), varied, [1001], 64)

    first = ask()
    night.forget()
    rebuilt = night.rebuild()

    assert [told.run for told in rebuilt.runs] == [run]
    assert rebuilt.problems == ()
    assert night.ledger.record(first.run) is None
    assert (night.roots["out"] / "small" / "wedges" / "w001" / "order.json").is_file()
    assert ask().run == "small/w002"
