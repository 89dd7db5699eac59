"""One service, one worker after another: frames are shared, none is lost, each is made once."""

import os
import signal
import subprocess
import time

import pytest

from farm.conftest import WORKER, Floor, wait_until
from farm.work_for_tests import FOLDER
from glimsum_jobs.ledger import Cause, Control, ItemState, RunState, Stage
from glimsum_jobs.tickets import HEAVY
from support.service import PYTHONPATH

pytestmark = pytest.mark.farm

ALL_20 = {str(1001 + frame) for frame in range(20)}


def test_a_run_is_done_with_every_frame_made_once(floor: Floor) -> None:
    floor.submit("plain/v001", frames=20, seconds=0.05)

    record = floor.wait_for_end("plain/v001")

    assert record.state is RunState.DONE
    assert floor.finished("plain/v001") == ALL_20
    assert floor.begun("plain/v001") == dict.fromkeys(ALL_20, 1)


def test_tickets_sent_many_times_make_no_frame_twice(floor: Floor) -> None:
    floor.submit("tickets/v001", frames=20, seconds=0.05)
    for _ in range(25):
        floor.link.tickets.send("tickets/v001", HEAVY)

    record = floor.wait_for_end("tickets/v001")

    assert record.state is RunState.DONE
    assert floor.begun("tickets/v001") == dict.fromkeys(ALL_20, 1)


def test_tickets_that_get_lost_are_sent_again(floor: Floor) -> None:
    floor.submit("lost/v001", frames=20, seconds=0.1)
    for _ in range(10):
        floor.link.client.delete("glimsum:heavy", "glimsum:light")
        time.sleep(0.05)

    floor.wait_for_end("lost/v001")

    assert floor.begun("lost/v001") == dict.fromkeys(ALL_20, 1)


def test_a_second_worker_shares_the_frames(floor: Floor) -> None:
    environment = dict(os.environ) | floor.settings.environment()
    environment |= {"GLIMSUM_BROKER": floor.service.broker, "PYTHONPATH": PYTHONPATH}
    environment |= {FOLDER: str(floor.folder)}
    with subprocess.Popen(WORKER, env=environment, stderr=subprocess.DEVNULL) as second:
        wait_until(
            lambda: len(floor.link.machines.heard_within(5)) == 2, 15, "two workers are heard"
        )
        floor.submit("shared/v001", frames=40, seconds=0.15)
        floor.wait_for_end("shared/v001")
        second.terminate()
        second.wait(10)

    machines = {(item.worker or "").partition("/")[0] for item in floor.frames("shared/v001")}
    assert len(machines) == 2
    assert set(floor.begun("shared/v001").values()) == {1}
    wait_until(lambda: len(floor.link.machines.heard_within(60)) == 1, 5, "the second signed off")


def test_a_killed_slot_loses_no_frame_and_another_takes_it_before_the_lease_ends(
    floor: Floor,
) -> None:
    floor.submit("slot/v001", frames=8, seconds=1.0)
    wait_until(lambda: len(floor.begun("slot/v001")) == 2, 10, "both slots work")
    victim = floor.working("slot/v001")[0]
    [hit] = [i.item for i in floor.frames("slot/v001") if f"/{victim}" in (i.worker or "")]

    os.kill(victim, signal.SIGKILL)
    back_s = wait_until(
        lambda: any(
            item.item == hit and f"/{victim}" not in (item.worker or "")
            for item in floor.frames("slot/v001")
        ),
        floor.settings.lease_s,
        "the frame is taken from the dead slot",
    )
    record = floor.wait_for_end("slot/v001")

    assert back_s < floor.settings.lease_s / 2
    assert record.state is RunState.DONE
    assert len(floor.finished("slot/v001")) == 8
    assert floor.begun("slot/v001")[hit] == 2
    assert sum(floor.begun("slot/v001").values()) == 9


def test_a_killed_worker_loses_no_frame(floor: Floor) -> None:
    floor.submit("worker/v001", frames=10, seconds=0.8)
    wait_until(lambda: len(floor.working("worker/v001")) == 2, 10, "both slots work")
    worker = floor.service.processes()["worker"]
    assert worker is not None

    os.kill(worker, signal.SIGKILL)
    record = floor.wait_for_end("worker/v001")

    assert record.state is RunState.DONE
    assert len(floor.finished("worker/v001")) == 10
    assert sum(floor.begun("worker/v001").values()) <= 12
    assert floor.service.processes()["worker"] != worker


def test_a_killed_server_loses_no_frame_and_none_is_made_twice(floor: Floor) -> None:
    floor.submit("server/v001", frames=20, seconds=0.3)
    wait_until(lambda: len(floor.finished("server/v001")) > 4, 20, "some frames are done")
    server = floor.service.processes()["server"]
    assert server is not None

    os.kill(server, signal.SIGKILL)
    record = floor.wait_for_end("server/v001")

    assert record.state is RunState.DONE
    assert floor.finished("server/v001") == ALL_20
    assert floor.begun("server/v001") == dict.fromkeys(ALL_20, 1)
    assert record.conflicts == 0


def test_a_server_away_longer_than_a_lease_costs_no_frame_and_no_try(floor: Floor) -> None:
    floor.submit("away/v001", frames=4, seconds=6.0)
    wait_until(lambda: len(floor.working("away/v001")) == 2, 10, "both slots work")
    server = floor.service.processes()["server"]
    assert server is not None

    os.kill(server, signal.SIGSTOP)
    time.sleep(floor.settings.lease_s + 1)
    os.kill(server, signal.SIGCONT)
    record = floor.wait_for_end("away/v001")

    assert record.state is RunState.DONE
    assert set(floor.begun("away/v001").values()) == {1}


def test_a_frame_that_kills_its_process_is_set_aside_after_exactly_three_tries(
    floor: Floor,
) -> None:
    floor.submit("poison/v001", frames=8, seconds=0.1, poison=["1003"])

    record = floor.wait_for_end("poison/v001")

    assert record.state is RunState.DONE_WITH_REMARKS
    assert floor.begun("poison/v001")["1003"] == 3
    assert len(floor.finished("poison/v001")) == 7
    [item] = [i for i in floor.frames("poison/v001") if i.state is ItemState.SET_ASIDE]
    assert item.item == "1003"
    assert item.failure is not None
    assert item.failure.cause is Cause.PROCESS_LOST


def test_a_dead_source_is_set_aside_at_once_with_its_words(floor: Floor) -> None:
    floor.submit("bad/v001", frames=4, seconds=0.05, bad=["1002"])

    record = floor.wait_for_end("bad/v001")

    assert record.state is RunState.DONE_WITH_REMARKS
    assert floor.begun("bad/v001")["1002"] == 1
    [item] = [i for i in floor.frames("bad/v001") if i.state is ItemState.SET_ASIDE]
    assert item.failure is not None
    assert item.failure.kind == "SourceError"
    assert item.failure.message == "the picture is cut off; seen: 12 bytes; expected: 4096 bytes"
    assert "work_for_tests.py" in item.failure.traceback
    assert item.failure.peak_memory_bytes is not None


def test_pause_begins_no_further_frame_and_going_on_makes_all(floor: Floor) -> None:
    floor.submit("pause/v001", frames=10, seconds=0.3)
    wait_until(lambda: len(floor.finished("pause/v001")) >= 2, 20, "two frames are done")

    floor.link.ledger.control("pause/v001", Control.PAUSE)
    begun = sum(floor.begun("pause/v001").values())
    time.sleep(1.5)
    assert sum(floor.begun("pause/v001").values()) <= begun + 2  # taken before, written after
    assert floor.record("pause/v001").state is RunState.PAUSED
    assert floor.record("pause/v001").counts[Stage.COMBINE].working == 0
    floor.link.ledger.control("pause/v001", Control.RUN)

    assert floor.wait_for_end("pause/v001").state is RunState.DONE
    assert set(floor.begun("pause/v001").values()) == {1}


def test_cancel_is_heard_in_the_middle_of_a_frame(floor: Floor) -> None:
    floor.submit("cancel/v001", frames=4, seconds=60)
    wait_until(lambda: len(floor.working("cancel/v001")) == 2, 10, "both slots work")

    floor.link.ledger.control("cancel/v001", Control.CANCEL)
    heard_s = wait_until(
        lambda: floor.record("cancel/v001").ended is not None, 5, "the run has ended"
    )

    assert heard_s < 2
    assert floor.record("cancel/v001").state is RunState.CANCELLED
    assert floor.finished("cancel/v001") == set()


def test_an_urgent_run_goes_first(floor: Floor) -> None:
    for run in ("slow/v001", "urgent/v001"):
        floor.submit(run, frames=20, seconds=0.3)
    floor.link.ledger.control("urgent/v001", Control.RUN, priority=90)

    urgent, slow = floor.wait_for_end("urgent/v001"), floor.wait_for_end("slow/v001")

    assert urgent.ended is not None
    assert slow.ended is not None
    assert urgent.ended < slow.ended
