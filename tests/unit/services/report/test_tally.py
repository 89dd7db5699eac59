"""Line files are read where they grew, and only whole lines."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from glimsum_jobs.ledger import Stage
from glimsum_jobs.orders import RunOrder
from glimsum_services.report import tally as module
from glimsum_services.report.grouping import Groups, frames_words
from glimsum_services.report.night import NOT_READ, Reporter
from glimsum_services.report.tally import Tally
from support.night_here import Night, night_job
from support.small_shots import exr_pass, small_shot


@pytest.fixture
def roots(tmp_path: Path) -> dict[str, Path]:
    (tmp_path / "small" / "v001" / "lines").mkdir(parents=True)
    return {"out": tmp_path}


@pytest.fixture
def tally() -> Tally:
    job = small_shot(passes={"key": exr_pass("key")}, frames={"first": 1001, "last": 1010})
    return Tally(
        RunOrder(
            run="small/v001",
            shot="small",
            version=1,
            job=job,
            job_digest="0" * 64,
            folder="out:small/v001",
            made="2026-01-05T21:30:00Z",
        )
    )


def line(frame: int, token: int = 1, seconds: float = 2.0, **more: Any) -> str:
    result = {"frame": frame, "bytes": 100, "figures": {"clipped": frame / 1e4}, "remarks": []}
    told = {"stage": "combine", "item": str(frame), "token": token, "worker": "m/1"}
    told |= {"host": "attic", "ended": 6000.0, "seconds": seconds, "result": result, **more}
    return json.dumps(told) + "\n"


def writer(roots: dict[str, Path]) -> Callable[..., None]:
    def write(text: str, name: str = "m-1.jsonl") -> None:
        with (roots["out"] / "small" / "v001" / "lines" / name).open("a") as file:
            file.write(text)

    return write


@pytest.mark.parametrize("piece", [10**6, 400])
def test_each_line_is_entered_once_however_often_it_is_read(
    roots: dict[str, Path], tally: Tally, piece: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "PIECE_BYTES", piece)
    write = writer(roots)
    write(line(1001) + line(1002, host="cellar"))
    assert tally.read(roots) == 2
    assert tally.read(roots) == 0
    half = line(1004, seconds=9.0)
    write(line(1003) + half[:50])
    write(line(1005), "m-2.jsonl")
    assert tally.read(roots) == 2
    write(half[50:])
    assert tally.read(roots) == 1
    assert sorted(tally.made()) == [
        (2.0, 1001, "attic"),
        (2.0, 1002, "cellar"),
        (2.0, 1003, "attic"),
        (2.0, 1005, "attic"),
        (9.0, 1004, "attic"),
    ]
    assert (tally.bytes_made, tally.made_again, tally.torn) == (500, 0, 0)
    assert tally.extremes == {"clipped": (0.1005, 1005)}


def test_of_a_frame_made_twice_the_newest_token_stands(
    roots: dict[str, Path], tally: Tally
) -> None:
    writer(roots)(line(1001, 7, 3.0) + line(1001, 5, 1.0, host="cellar"))
    tally.read(roots)
    assert (tally.made(), tally.made_again) == ([(3.0, 1001, "attic")], 1)


def test_an_item_keeps_the_minutes_busy_in_which_it_was_worked_on(
    roots: dict[str, Path], tally: Tally
) -> None:
    writer(roots)(line(1001, ended=6061.0, seconds=130.0))
    tally.read(roots)
    assert tally.busy == {98, 99, 100, 101}  # 5931 s to 6061 s


def test_lines_that_are_none_are_counted_and_harm_nothing(
    roots: dict[str, Path], tally: Tally
) -> None:
    bad = ["[]", "{", '{"stage": "combine"}', line(1001, seconds="x").strip()]  # type: ignore[arg-type]  # on purpose
    writer(roots)("\n".join(bad) + "\n" + line(99_999) + line(1001))
    tally.read(roots)
    assert (tally.torn, len(tally.made())) == (4, 1)


def test_results_of_whole_stages_are_the_newest(roots: dict[str, Path], tally: Tally) -> None:
    write = writer(roots)
    write(line(1, 9, stage="solve", item="shot", result={"revision": "b"}))
    write(line(1, 4, stage="solve", item="shot", result={"revision": "a"}))
    tally.read(roots)
    assert tally.result(Stage.SOLVE) == {"revision": "b"}
    assert tally.result(Stage.CHECK) is None


def test_matters_that_differ_in_numbers_alone_are_told_once() -> None:
    groups = Groups("small/v001")
    for frame in (1001, 1002, 1003, 1007):
        groups.add("set aside", f"key.{frame - 1000:04d}.exr is cut off", frame=frame)
    groups.add("set aside", "haze.0001.exr is cut off", frame=1001)
    first, second = groups.matters()
    assert (first.what, first.frames, first.count) == (
        "key.0001.exr is cut off",
        "1001 to 1003, 1007",
        4,
    )
    assert second.count == 1


def test_what_is_beyond_the_bound_is_counted_and_lists_of_frames_stay_readable() -> None:
    groups = Groups("small/v001")
    words = [chr(97 + a) + chr(97 + b) for a in range(26) for b in range(3)]
    for word in words:
        groups.add("set aside", word)
    assert (len(groups.matters()), groups.beyond) == (60, 18)
    assert frames_words(range(1001, 99_000)) == "1001 to 98999"
    odd = frames_words(range(1001, 3000, 2))
    assert odd.endswith(", 1065 and more, 1000 in all")


def test_what_there_is_no_time_to_read_is_told_and_read_the_next_time(
    night: Night, reporter: Reporter, monkeypatch: pytest.MonkeyPatch
) -> None:
    (run,) = night.submit(night_job())
    night.work_frames(run, 2)
    monkeypatch.setattr("glimsum_services.report.night.READING_S", -1.0)
    report = reporter.night(None)
    assert (report.unread, report.shots[0].made, report.shots[0].machines) == (1, 2, [])
    assert report.notes == [f"{run}: {NOT_READ}"]
    monkeypatch.undo()
    report = reporter.night(None)
    assert (report.unread, report.notes) == (0, [])
    assert report.shots[0].machines[0].frames == 2
