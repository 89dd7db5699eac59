"""Processor time and memory as the kernel tells them, beside what Python itself reports."""

import os
import subprocess
import sys
import time

import pytest

from bench.machine_use import Watch, children_of, cpu_of_s, cpu_s, peak_mb, verdict

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="reads /proc")


def spin(seconds: float) -> None:
    end = time.process_time() + seconds
    while time.process_time() < end:
        pass


def test_the_clock_of_a_process_by_its_id_is_its_processor_time() -> None:
    before = time.process_time()
    told = cpu_of_s(os.getpid())
    after = time.process_time()

    assert before <= told <= after


def test_a_process_that_is_gone_used_nothing() -> None:
    child = subprocess.Popen([sys.executable, "-c", ""])
    child.wait()

    assert cpu_of_s(child.pid) == 0.0


def test_children_that_ended_are_in_our_time() -> None:
    work = "import time\nwhile time.process_time() < 0.3: pass"
    before = cpu_s()
    subprocess.run([sys.executable, "-c", work], check=True)

    assert cpu_s() - before >= 0.3


def test_running_children_are_known_and_their_peak_is_their_own() -> None:
    ballast = bytearray(200_000_000)
    with subprocess.Popen([sys.executable, "-I", "-S", "-c", "input()"], stdin=-1) as child:
        deadline = time.monotonic() + 20  # until its own program has begun
        while (peak := peak_mb(child.pid)) > 100 or child.pid not in children_of(os.getpid()):
            assert time.monotonic() < deadline, f"peak {peak} MB"
            time.sleep(0.01)
        child.communicate(b"\n")

    assert peak_mb() > len(ballast) / 1e6


def test_our_own_work_is_not_taken_for_that_of_others() -> None:
    watch = Watch(wall=time.monotonic() - 1, busy=0.0)
    all_of_it = watch.others(own_s=1e12)

    assert all_of_it == 0.0


def test_wall_times_beside_others_are_called_invalid() -> None:
    assert verdict(0.05) == "0.05 cores used by others"
    assert verdict(0.3) == "0.30 cores used by others: wall times INVALID"
