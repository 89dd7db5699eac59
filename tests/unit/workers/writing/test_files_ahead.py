"""Which files are asked for, and when: those of a frame at its begin, and of the one after it."""

import os
from pathlib import Path
from typing import Any

import pytest

from glimsum_jobs.ledger import RunState
from glimsum_jobs.shot import ShotJob
from glimsum_workers.frames import ahead, sources
from glimsum_workers.light.kept_passes import LightRoom
from glimsum_workers.writing.write_frame import ask_to_combine, ask_to_know
from support.run_here import open_run, run_here, work_through
from support.small_shots import exr_pass, grain, small_roots, small_shot, write_exr_pass

NAMES = ("key", "fill", "spare")


def job_of(**changes: Any) -> ShotJob:
    passes = {name: exr_pass(name) for name in NAMES}
    recipe = [{"pass": "key"}, {"pass": "fill"}]
    return small_shot(**{"passes": passes, "recipe": recipe, **changes})


@pytest.fixture
def plates(tmp_path: Path) -> Path:
    for seed, name in enumerate(NAMES):
        write_exr_pass(tmp_path, name, {n: grain(10 * seed + n) for n in range(1, 5)})
    return tmp_path


@pytest.fixture
def asked(plates: Path, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Names of the files the system was asked for, in order; what is done stays done."""
    names = {path.stat().st_ino: path.name for path in plates.rglob("*.exr")}
    found: list[str] = []

    def note(descriptor: int) -> None:
        found.append(names[os.fstat(descriptor).st_ino])
        ahead.ask_ahead(descriptor)

    monkeypatch.setattr(sources, "ask_ahead", note)
    return found


def forget_digests(plates: Path) -> None:
    """Let every file look changed, so that no process knows its digest."""
    for path in plates.rglob("*.exr"):
        os.utime(path, ns=(0, path.stat().st_mtime_ns + 1_000_000))


def test_each_file_is_asked_for_once_a_frame_ahead_of_its_use(
    plates: Path, asked: list[str]
) -> None:
    run = run_here(job_of(), small_roots(plates))

    assert run.state is RunState.DONE
    # `spare` is in no step. 1001 asks for its own and the next, each further one for the next.
    assert asked == [f"{name}.{n:04d}.exr" for n in (1, 2, 3) for name in ("key", "fill")]


def test_measuring_asks_for_the_next_frame_of_its_pass(plates: Path, asked: list[str]) -> None:
    passes = {"key": exr_pass("key", level="steady"), "fill": exr_pass("fill")}
    run = run_here(job_of(passes=passes), small_roots(plates))

    assert run.state is RunState.DONE_WITH_REMARKS or run.state is RunState.DONE
    assert asked[:2] == ["key.0002.exr", "key.0003.exr"]


def test_files_whose_fingerprints_are_known_are_asked_for_only_when_they_are_decoded(
    plates: Path, asked: list[str]
) -> None:
    bench = run_here(job_of(), small_roots(plates)).bench()
    asked.clear()

    ask_to_know(bench, 1002)
    assert asked == []
    ask_to_combine(bench, 1002)
    assert asked == ["key.0002.exr", "fill.0002.exr"]


def test_a_frame_whose_light_is_kept_is_asked_for_only_until_its_files_are_known(
    plates: Path, asked: list[str]
) -> None:
    job = job_of(keep="aligned")
    room = LightRoom(budget_bytes=10**9, reserve_bytes=0)
    for version in (1, 2):
        work_through(open_run(job, small_roots(plates), version=version), room=room)

    assert len(asked) == len(set(asked)) == 6


def test_a_lamp_that_is_out_is_not_asked_for(plates: Path, asked: list[str]) -> None:
    steps = [{"pass": "key"}, {"pass": "fill", "stops": "out"}]
    bench = run_here(job_of(recipe=steps), small_roots(plates)).bench()
    asked.clear()
    forget_digests(plates)

    ask_to_know(bench, 1001)

    assert asked == ["key.0001.exr"]


def test_files_that_are_missing_and_frames_that_are_none_do_no_harm(
    plates: Path, asked: list[str]
) -> None:
    bench = run_here(job_of(), small_roots(plates)).bench()
    asked.clear()
    forget_digests(plates)
    (plates / "key" / "key.0002.exr").unlink()

    ask_to_know(bench, 1002)
    ask_to_know(bench, 1004)  # there are files, and the shot ends at 1003
    ask_to_combine(bench, 7)

    assert asked == ["fill.0002.exr"]
