"""A parent and its slots, as real processes, against the ledger in memory."""

import ctypes
import os
import signal
import time
from collections.abc import Callable

import pytest

from glimsum_jobs.ledger import Cause, Control, Counts, RunState, Stage
from glimsum_services.slot_board import SlotBoard
from glimsum_services.slot_care import SlotCare, is_running
from support.ledger_contract import RUN, counts, state, take, to_combine
from support.memory_ledger import MemoryLedger


@pytest.fixture
def ledger() -> MemoryLedger:
    made = MemoryLedger(time.time)
    to_combine(made, 2)
    return made


@pytest.fixture
def board() -> SlotBoard:
    return SlotBoard(1, lambda stage: 0.2 if stage is Stage.COMBINE else 60.0)


@pytest.fixture
def care(ledger: MemoryLedger, board: SlotBoard) -> SlotCare:
    return SlotCare("m", ledger, board, grace_s=0.2)


def fork(work: Callable[[], object]) -> int:
    child = os.fork()
    if child == 0:
        try:
            work()
        finally:
            os._exit(0)
    return child


def one_long_call() -> None:
    ctypes.PyDLL(None).sleep(60)  # holds the interpreter's lock: no thread of it runs on


def look_until(met: Callable[[], bool], care: SlotCare) -> None:
    deadline = time.monotonic() + 5
    while not met():
        assert time.monotonic() < deadline
        care.look()
        time.sleep(0.02)


def test_a_slot_in_one_long_call_is_ended_and_the_failure_says_why(
    ledger: MemoryLedger, board: SlotBoard, care: SlotCare
) -> None:
    def hang() -> None:
        board.begin(Stage.COMBINE)
        one_long_call()

    slot = fork(hang)
    ledger.claim(f"m/{slot}", RUN)

    look_until(lambda: counts(ledger) == Counts(waiting=2), care)

    assert not is_running(slot)
    failure = ledger.items(RUN, Stage.COMBINE)[0].failure
    assert failure is not None
    assert failure.cause is Cause.PROCESS_LOST
    assert failure.message == "it took longer than 0.2 s; its process was ended"
    assert board.overdue() == []
    os.waitpid(slot, 0)


def test_a_limit_is_for_one_item_and_the_stage_it_is_of(board: SlotBoard, care: SlotCare) -> None:
    def work() -> None:
        for stage in (Stage.FINISH, Stage.COMBINE, Stage.COMBINE, Stage.COMBINE):
            board.begin(stage)
            time.sleep(0.3 if stage is Stage.FINISH else 0.1)
            board.end()
        time.sleep(30)

    slot = fork(work)
    deadline = time.monotonic() + 0.9
    while time.monotonic() < deadline:
        care.look()
        time.sleep(0.02)

    assert is_running(slot)
    os.kill(slot, signal.SIGKILL)
    os.waitpid(slot, 0)


def test_a_slot_that_leaves_no_cancelled_run_is_ended_after_the_grace(
    ledger: MemoryLedger, care: SlotCare
) -> None:
    slot = fork(one_long_call)
    ledger.claim(f"m/{slot}", RUN)
    ledger.control(RUN, Control.CANCEL)

    care.look()
    assert is_running(slot)
    look_until(lambda: ledger.open_runs() == [], care)

    assert not is_running(slot)
    assert state(ledger) is RunState.CANCELLED
    assert ledger.items(RUN, Stage.COMBINE)[0].failure is None
    os.waitpid(slot, 0)


def test_a_process_that_is_no_slot_of_ours_is_never_ended(
    ledger: MemoryLedger, board: SlotBoard, care: SlotCare
) -> None:
    board.begin(Stage.COMBINE)  # this very process: no child of itself
    time.sleep(0.3)

    assert [each.process_id for each in board.overdue()] == [os.getpid()]
    care.look()  # and we are still here
    take(ledger)
    assert counts(ledger) == Counts(waiting=1, working=1)
