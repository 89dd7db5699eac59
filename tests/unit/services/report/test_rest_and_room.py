"""Runs that rest, machines that vanish, disks that are full or gone: all of it is told."""

import shutil
from collections.abc import Callable

import pytest

from glimsum_jobs.ledger import Control
from glimsum_services.report.night import Reporter
from support.night_here import RUN, Night, night_job
from support.night_report import hear, kinds, named


@pytest.mark.parametrize(
    ("do", "kind"),
    [
        (lambda night: night.ledger.control(RUN, Control.CANCEL), "cancelled"),
        (lambda night: night.ledger.control(RUN, Control.PAUSE), "paused"),
        (lambda night: night.ledger.hold(RUN, "2 GiB free on out, 5 GiB kept"), "disk"),
    ],
)
def test_a_run_that_rests(
    night: Night, reporter: Reporter, do: Callable[[Night], object], kind: str
) -> None:
    night.submit(night_job())
    night.work(RUN, 1)
    do(night)
    matter = named(reporter.night(None), kind)
    assert matter.run == RUN
    assert kind != "disk" or "2 GiB free on out, 5 GiB kept" in matter.what


def test_a_machine_that_vanished_and_one_that_lacks_something(
    night: Night, reporter: Reporter
) -> None:
    night.submit(night_job())
    hear(night, "attic", seconds_ago=3600)
    report = reporter.night(None)
    assert [m.what for m in report.first if m.kind == "machines"] == [
        "no machine works, and there is work left",
        "machine attic fell silent without saying that it stops",
    ]
    hear(night, "cellar", lacks={RUN: "no root plates here"})
    words = [m.what for m in reporter.night(None).first if m.kind == "machines"]
    assert words == [
        "machine attic fell silent without saying that it stops",
        f"machine cellar can't work on {RUN}: no root plates here",
    ]


def test_a_disk_that_can_not_take_what_is_left(
    night: Night, reporter: Reporter, monkeypatch: pytest.MonkeyPatch
) -> None:
    night.submit(night_job())
    night.work_frames(RUN, 2)
    assert "disk" not in kinds(reporter.night(None))
    usage = shutil.disk_usage(night.roots["out"])._replace(free=30_000)
    monkeypatch.setattr("glimsum_services.report.night.shutil.disk_usage", lambda _: usage)
    matter = named(reporter.night(None), "disk")
    assert matter.what == "the frames left do not fit on the disk of root out"


def test_a_root_that_is_gone(night: Night, reporter: Reporter) -> None:
    (run,) = night.submit(night_job())
    night.work_frames(run, 2)
    night.roots["out"].rename(night.roots["plates"] / "unplugged")
    report = reporter.night(None)
    assert named(report, "disk").what == "the root out is not there"
    assert report.shots[0].made == 2  # the ledger knows
    assert "times and machines may be missing" in report.notes[0]


def test_lines_that_were_lost_are_told(night: Night, reporter: Reporter) -> None:
    (run,) = night.submit(night_job())
    night.work_frames(run, 2)
    (lines,) = (night.roots["out"] / "small" / "v001" / "lines").iterdir()
    lines.write_bytes(lines.read_bytes()[:-30] + b"\n")
    assert reporter.night(None).notes == [f"{run}: 1 lines of its workers can't be read"]
