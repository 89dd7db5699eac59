"""Two machines with addresses of their own: joining, a cut cable, a machine that vanishes."""

import os
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from farm.conftest import Floor, alive, descendants, wait_until
from farm.two_machines import TwoMachines, two_machines
from farm.work_for_tests import FOLDER
from glimsum_jobs.ledger import RunState, Stage
from glimsum_services.connections import open_connections
from support.server import server_program
from support.service import PYTHONPATH, TESTS, quick_settings

pytestmark = pytest.mark.farm

LEASE_S = 5.0
RUN = "night/v001"
PORT = 18471


@dataclass
class Night:
    """A service on the first machine, a worker on the second, and the ledger seen from outside."""

    machines: TwoMachines
    floor: Floor
    service: "subprocess.Popen[str]"
    worker: "subprocess.Popen[str]"
    names: dict[str, str]
    """Name of the worker of each machine."""

    def by_machine(self) -> Counter[str]:
        """Return how many frames each machine finished."""
        found = [item.worker or "" for item in self.floor.frames(RUN) if item.result]
        return Counter(worker.partition("/")[0] for worker in found)


def ended(process: "subprocess.Popen[str]") -> None:
    if process.poll() is None:
        process.send_signal(signal.SIGTERM)
        try:
            process.wait(15)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait(5)


def environment_of(settings: Any, **more: str) -> dict[str, str]:
    plain = {name: value for name, value in os.environ.items() if "GLIMSUM" not in name}
    ours: dict[str, str] = settings.environment()
    return plain | ours | {"PYTHONPATH": PYTHONPATH} | more


@contextmanager
def night(folder: Path, slots: Mapping[str, int]) -> Iterator[Night]:
    server_program()
    given = {"lease_s": LEASE_S, "beat_s": 1.2, "ticket_s": 5.0, "lan_port": PORT}
    with two_machines() as machines:
        lan = {"lan": machines.address, "host": machines.address}
        first = quick_settings(folder, slots=slots["first"], **given, **lan)
        second = quick_settings(folder / "second", slots=slots["second"], **given)
        service = machines.start(
            machines.first,
            [sys.executable, str(TESTS / "farm" / "lan_for_tests.py")],
            environment_of(first, **{FOLDER: str(folder)}),
            stdout=subprocess.PIPE,
        )
        url = folder / "state" / "ledger" / "url"
        wait_until(url.exists, 30, "the server of the first machine is there")
        settings = first.model_copy(update={"broker": url.read_text()})
        link = open_connections(settings)
        assert service.stdout is not None
        assert service.stdout.readline().startswith(f"http://{machines.address}:")
        here = link.machines.heard_within(5)[0].machine
        far = folder / "second" / "url"
        far.parent.mkdir(exist_ok=True)
        password = (folder / "state" / "ledger" / "lan_password").read_text()
        far.write_text(f"redis://worker:{password}@{machines.address}:{PORT}/0")
        with (folder / "second" / "words").open("w") as words:
            worker = machines.start(
                machines.second,
                [sys.executable, str(TESTS / "farm" / "work_for_tests.py")],
                environment_of(second, **{FOLDER: str(folder), "GLIMSUM_BROKER_FILE": str(far)}),
                stdout=words,
                stderr=words,
            )
        try:
            wait_until(lambda: len(link.machines.heard_within(5)) == 2, 30, "both machines work")
            there = {each.machine for each in link.machines.heard_within(5)} - {here}
            floor = Floor(folder, settings, None, link)  # type: ignore[arg-type]  # runs elsewhere
            yield Night(machines, floor, service, worker, {"first": here, "second": there.pop()})
        finally:
            link.client.close()
            ended(worker)
            ended(service)
            service.stdout.close()


def test_a_cut_cable_costs_no_finished_frame_and_work_goes_on_when_it_is_healed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with night(tmp_path, {"first": 1, "second": 2}) as there:
        floor, second = there.floor, there.names["second"]
        floor.submit(RUN, frames=160, seconds=0.4)
        wait_until(lambda: there.by_machine()[second] >= 6, 30, "both make frames")
        there.machines.cut()
        time.sleep(LEASE_S + 3)
        before = floor.finished(RUN)
        made = there.by_machine()[second]
        begun = floor.begun(RUN)
        there.machines.heal()
        back_s = wait_until(
            lambda: there.by_machine()[second] > made, 30, "the second machine is back"
        )
        # The frame of the moment of the cut may be the first one back: one that was begun after.
        wait_until(lambda: _begun_by_second(floor, begun, second), 30, "it begins new frames")
        record = floor.wait_for_end(RUN, 120)

        assert record.state is RunState.DONE
        assert record.conflicts == 0
        assert {frame: floor.begun(RUN)[frame] for frame in before} == {
            frame: begun[frame] for frame in before
        }
        assert back_s <= LEASE_S + 1
        assert there.by_machine()[second] > made + 4
    with capsys.disabled():
        words = f"cable cut for {LEASE_S + 3:g} s: back {back_s:.1f} s after it was healed"
        again = sum(floor.begun(RUN).values()) - 160
        sys.stdout.write(
            f"\n{words} (lease {LEASE_S:g} s), {again} frames begun twice, "
            f"{record.conflicts} conflicts\n"
        )


def _begun_by_second(floor: Floor, before: Counter[str], second: str) -> bool:
    new = {
        item.item for item in floor.frames(RUN) if item.worker and item.worker.startswith(second)
    }
    return any(before[frame] == 0 for frame in new)


def test_a_machine_that_vanishes_costs_one_lease(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with night(tmp_path, {"first": 1, "second": 2}) as there:
        floor, second = there.floor, there.names["second"]
        floor.submit(RUN, frames=30, seconds=1.0)
        wait_until(lambda: there.by_machine()[second] >= 2, 30, "both make frames")
        gone = {there.worker.pid, *descendants(there.worker.pid)}
        there.machines.cut()  # first the cable, so that nobody signs off
        for process in gone:
            os.kill(process, signal.SIGKILL)
        lost = [
            item.item
            for item in floor.frames(RUN)
            if item.worker and item.worker.startswith(second) and not item.result
        ]
        begun = floor.begun(RUN)
        taken_s = wait_until(
            lambda: all(_waits_again(floor, frame, second) for frame in lost),
            LEASE_S + 10,
            f"others may take {lost}",
        )
        record = floor.wait_for_end(RUN, 90)

        assert lost
        assert (record.state, record.conflicts) == (RunState.DONE, 0)
        assert taken_s <= LEASE_S + 1
        again = {frame: count for frame, count in floor.begun(RUN).items() if count > 1}
        assert set(again) <= set(lost)
        assert not alive(gone)
        assert begun
    with capsys.disabled():
        sys.stdout.write(f"\na machine gone with {len(lost)} frames: free after {taken_s:.1f} s\n")


def _waits_again(floor: Floor, frame: str, second: str) -> bool:
    item = next(each for each in floor.frames(RUN) if each.item == frame)
    return not (item.worker or "").startswith(second)


def test_unequal_machines_are_both_busy_to_the_end(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with night(tmp_path, {"first": 1, "second": 3}) as there:
        floor = there.floor
        floor.submit(RUN, frames=48, seconds=0.5)
        wait_until(lambda: floor.record(RUN).counts.get(Stage.COMBINE) is not None, 20, "combining")
        idle = 0
        seen = 0
        while floor.record(RUN).counts[Stage.COMBINE].waiting > 0:
            held = {
                (item.worker or "").partition("/")[0]
                for item in floor.frames(RUN)
                if item.worker and not item.result
            }
            idle += len(set(there.names.values()) - held)
            seen += 1
            time.sleep(0.1)
        record = floor.wait_for_end(RUN, 60)
        made = there.by_machine()

        assert record.state is RunState.DONE
        assert made[there.names["second"]] > 1.5 * made[there.names["first"]]
        assert idle <= seen * 0.2
    with capsys.disabled():
        looks = f"{idle} of {2 * seen} looks saw a machine without work while frames waited"
        sys.stdout.write(f"\n1 and 3 slots made {sorted(made.values())} frames; {looks}\n")


def test_what_the_worker_s_password_opens_is_the_ledger_alone(tmp_path: Path) -> None:
    import redis

    from glimsum_services.own_server import OwnServer

    server_program()

    server = OwnServer(tmp_path, 0, ("127.0.0.1", PORT + 1))
    process = subprocess.Popen(server.command, stdout=subprocess.DEVNULL)
    try:
        assert server.open_port is not None
        link = redis.Redis.from_url(server.open_port.url, decode_responses=True)
        wait_until(lambda: _answers(link), 10, "the server answers")
        link.set("glimsum:x", "1")
        for words in (
            ("GET", "other"),
            ("CONFIG", "GET", "requirepass"),
            ("FLUSHALL",),
            ("SHUTDOWN",),
            ("KEYS", "*"),
            ("ACL", "LIST"),
            ("CLIENT", "LIST"),
            ("SCRIPT", "FLUSH"),
            ("FUNCTION", "LIST"),
            ("REPLICAOF", "10.0.0.1", "1"),
        ):
            with pytest.raises(redis.ResponseError, match=r"(?i)permission"):
                link.execute_command(*words)  # type: ignore[no-untyped-call]  # redis-py
        stranger = redis.Redis(port=PORT + 1)
        with pytest.raises(redis.AuthenticationError):
            stranger.ping()
        assert server.open_port.url.rpartition("@")[0][-64:] not in server.configuration.read_text()
        link.close()
        stranger.close()
    finally:
        process.terminate()
        process.wait(10)
        server.close()


def _answers(link: Any) -> bool:
    import redis

    try:
        return bool(link.ping())
    except redis.ConnectionError:
        return False
