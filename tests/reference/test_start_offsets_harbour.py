"""Start offsets of the harbour's moving shot, found by the flow from its files to a frame.

Source: ``lead_in_frames`` of the harbour's ``truth.json``: 0 beauty, 3 practicals, 2 flash, 1 haze,
2 matte.
"""

import json
from functools import cache
from pathlib import Path
from typing import Any

import OpenImageIO
import pytest

from glimsum_jobs.ledger import RunState
from glimsum_jobs.measurements import Checked
from glimsum_jobs.problems import Rank
from glimsum_jobs.shot import ShotJob
from glimsum_workers.check_shot import check_shot
from glimsum_workers.checking.pass_likeness import Likeness
from glimsum_workers.frames.kept import Keep
from glimsum_workers.frames.roots import Roots
from glimsum_workers.writing.master_attributes import START_OFFSETS
from support.harbour import HarbourShot
from support.harbour_drift import find_shot, moving_set
from support.harbour_jobs import harbour_job, harbour_roots, job_frame
from support.harbour_proofs import out_folder
from support.run_here import HereRun, run_here

SOUGHT = ("beauty", "practicals", "haze", "matte", "flash")
FRAME = 4
QUICK = {"align": "none", "level": "follow"}
"""Neither drift nor flicker: only which files are taken is looked at."""


def shot() -> HarbourShot:
    return find_shot(moving_set())


def lead(name: str) -> int:
    return int(shot().pass_facts(name)["lead_in_frames"])


def with_matte(**changes: dict[str, Any]) -> ShotJob:
    """Return the example job with its silhouette pass, and passes changed."""
    matte = {"files": "harbour:matte/matte.%04d.jpg", "space": "srgb_rec709_scene"}
    passes: dict[str, Any] = {"matte": matte}
    for name, change in changes.items():
        passes[name] = {**passes.get(name, {}), **change}
    mattes = {"model": {"pass": "matte", "empty": {"level": [0.8, 0.8, 0.8]}}}
    return harbour_job(shot(), passes=passes, mattes=mattes)


@cache
def all_sought() -> Checked:
    job = with_matte(**{name: {"start_offset": "auto"} for name in SOUGHT})
    out = out_folder("start_offsets")
    return check_shot(job, Roots(harbour_roots(shot(), out)), Keep(out / "kept"))


@pytest.mark.parametrize("name", ["beauty", "practicals", "haze", "matte"])
def test_the_start_offset_of_a_pass_is_its_number_of_lead_in_frames(name: str) -> None:
    found = all_sought().passes[name]

    assert found.start_offset == lead(name)
    assert found.sync is not None
    assert found.sync.certain
    assert found.sync.margin >= 0.3
    assert found.sync.head == pytest.approx(lead(name), abs=0.2)
    assert found.sync.tail == pytest.approx(lead(name), abs=0.2)


def test_the_flash_is_placed_by_its_lit_frames_and_a_person_asked() -> None:
    checked = all_sought()

    assert checked.passes["flash"].start_offset == lead("flash")
    (problem,) = [each for each in checked.problems if each.rank is Rank.STOPS_SHOT]
    assert problem.place.pass_name == "flash"
    assert "best guess 2" in problem.seen
    assert "frames with light in the pass, 3 wanted" in problem.remedy
    assert "Write start_offset: 2 if that is so." in problem.remedy


def test_only_the_flash_is_asked_about() -> None:
    assert [each.place.pass_name for each in all_sought().problems] == ["flash"]


def test_a_second_check_reads_no_picture(monkeypatch: pytest.MonkeyPatch) -> None:
    first = all_sought().passes

    def refuse(*_: object) -> None:
        raise AssertionError("a picture was prepared again")

    monkeypatch.setattr(Likeness, "_prepare", refuse)
    all_sought.cache_clear()

    assert all_sought().passes == first


def test_an_offset_is_found_from_a_stated_first_file_too(tmp_path: Path) -> None:
    # haze.0103 as first: one beyond file 0102, which belongs to frame 0 of the shot.
    haze = {"first": 103, "start_offset": "auto"}
    job = harbour_job(shot(), passes={"haze": haze})

    checked = check_shot(job, Roots(harbour_roots(shot(), tmp_path)))

    found = checked.passes["haze"]
    assert (found.first, found.start_offset) == (103, -1)
    assert not checked.refused


@cache
def made(offset: int | str) -> HereRun:
    """Run the shot to one frame, with offsets of practicals and haze to be found or as stated."""
    sought = offset == "auto"
    passes = {name: dict(QUICK) for name in ("beauty", "practicals", "flash", "haze")}
    passes["practicals"]["start_offset"] = offset  # type: ignore[assignment]  # a raw job
    if sought:
        passes["haze"]["start_offset"] = "auto"
    job = harbour_job(shot(), passes=passes)
    out = out_folder(f"start_offset_{offset}")
    return run_here(job, harbour_roots(shot(), out), only={job_frame(job, FRAME)})


def test_a_frame_made_with_offsets_that_were_found_is_the_one_of_the_stated_numbers() -> None:
    found, stated = made("auto"), made(lead("practicals"))

    frame = job_frame(found.order.job, FRAME)
    assert found.combined[frame].digest == stated.combined[frame].digest
    assert found.combined[frame].fingerprint == stated.combined[frame].fingerprint
    assert found.combined[frame].file_digest == stated.combined[frame].file_digest


def test_one_file_off_makes_another_frame() -> None:
    right, wrong = made("auto"), made(lead("practicals") - 1)

    frame = job_frame(right.order.job, FRAME)
    assert right.combined[frame].digest != wrong.combined[frame].digest


def test_the_run_and_its_manifest_tell_the_offset_that_was_found() -> None:
    run = made("auto")

    assert run.state in (RunState.DONE, RunState.DONE_WITH_REMARKS)
    assert run.checked.passes["practicals"].start_offset == lead("practicals")
    manifest = json.loads((run.folder / run.finished.manifest).read_text("utf-8"))
    assert manifest["checked"]["passes"]["practicals"]["start_offset"] == lead("practicals")
    frame = job_frame(run.order.job, FRAME)
    told = OpenImageIO.ImageBuf(str(run.master(frame))).spec().get_string_attribute(START_OFFSETS)
    # The flash is out on this frame.
    assert json.loads(told) == {"beauty": 0, "haze": lead("haze"), "practicals": 3}
