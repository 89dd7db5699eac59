"""Beside the work one process makes loops ready; the worker never waits for it nor fails by it."""

import logging
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from glimsum_services.loops_ahead import LoopsAhead


def ahead(program: str, *, done: bool = False) -> LoopsAhead:
    return LoopsAhead([sys.executable, "-c", program], lambda: done)


def wait_for(met: Callable[[], bool]) -> None:
    deadline = time.monotonic() + 20
    while not met():
        assert time.monotonic() < deadline
        time.sleep(0.02)


def test_it_says_when_it_begins_and_ends(caplog: pytest.LogCaptureFixture, tmp_path: Path) -> None:
    caplog.set_level(logging.INFO)

    ahead(f"open({str(tmp_path / 'made')!r}, 'w')").start()
    wait_for(lambda: len(caplog.messages) == 2)

    assert caplog.messages[0].startswith("the loops of a frame are compiled beside the work, once")
    assert caplog.messages[1].startswith("the loops of a frame are compiled, after ")
    assert (tmp_path / "made").exists()


def test_nothing_is_started_where_all_is_kept(caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.INFO)

    kept = ahead("", done=True)
    kept.start()
    kept.stop()

    assert caplog.messages == []


def test_a_failure_is_one_line_with_the_reason_and_what_it_means(
    caplog: pytest.LogCaptureFixture,
) -> None:
    ahead("import sys; sys.exit('line one\\nno room on the disk')").start()
    wait_for(lambda: len(caplog.messages) == 1)

    [line] = caplog.messages
    assert "the first frames here may wait until they are compiled, some 30 s of processor" in line
    assert line.endswith("no room on the disk")


def test_one_that_is_killed_or_cannot_begin_is_told_too(caplog: pytest.LogCaptureFixture) -> None:
    ahead("import os; os.kill(os.getpid(), 9)").start()
    wait_for(lambda: len(caplog.messages) == 1)
    LoopsAhead(["/no/such/program"], lambda: False).start()
    wait_for(lambda: len(caplog.messages) == 2)

    assert caplog.messages[0].endswith("it ended with -9")
    assert "/no/such/program" in caplog.messages[1] or "No such file" in caplog.messages[1]


def test_stop_ends_it_without_a_word(caplog: pytest.LogCaptureFixture, tmp_path: Path) -> None:
    running = ahead(f"open({str(tmp_path / 'on')!r}, 'w'); import time; time.sleep(60)")
    running.start()
    wait_for((tmp_path / "on").exists)

    began = time.monotonic()
    running.stop()
    process = running._process
    assert process is not None
    process.wait(10)

    assert time.monotonic() - began < 5
    assert caplog.messages == []
