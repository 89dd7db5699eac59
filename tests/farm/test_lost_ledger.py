"""The folder of the ledger is deleted, in mid-night and at the end, as real programs meet it.

Nothing in this project's own words is asked what was done: the line files tell how often a frame
was made, the times of the masters whether they were touched.
"""

import hashlib
import json
import os
import shutil
import signal
import subprocess
from collections import Counter
from pathlib import Path
from typing import Any

import httpx
import pytest

from farm.conftest import alive, descendants, wait_until
from farm.test_demo_commands import GLIMSUM, running
from support.server import server_program
from support.service import PYTHONPATH
from support.small_shots import exr_pass, grain, raw_small_shot, write_exr_pass

pytestmark = pytest.mark.farm

FRAMES = 24
RUN = "small"


def job(**changes: Any) -> dict[str, Any]:
    names = ("key", "fill", "leak")
    passes = {name: exr_pass(name, ambient="leak") for name in names[:2]}
    passes["leak"] = exr_pass("leak", use="ambient")
    for name, each in passes.items():
        each["files"] = f"here:{name}/{name}.%04d.exr"
    frames = {"first": 1001, "last": 1000 + FRAMES}
    return raw_small_shot(passes=passes, frames=frames, output="here:out/small", **changes)


def glimsum(*words: str, folder: Path) -> dict[str, Any]:
    environment = {name: value for name, value in os.environ.items() if "GLIMSUM" not in name}
    environment["PYTHONPATH"] = PYTHONPATH
    ended = subprocess.run(
        [*GLIMSUM, *words, "--json"],
        capture_output=True,
        text=True,
        env=environment,
        cwd=folder,
        check=False,
    )
    assert ended.returncode == 0, ended.stderr
    told: dict[str, Any] = json.loads(ended.stdout)
    return told


def digests(folder: Path) -> dict[str, str]:
    return {
        path.name: hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted((folder / "out/small/v001/master").glob("*.exr"))
    }


def made(folder: Path) -> Counter[str]:
    """Return how often each frame was made, from the line files."""
    lines = [
        json.loads(line)
        for path in (folder / "out/small/v001/lines").glob("*.jsonl")
        for line in path.read_text().splitlines()
    ]
    return Counter(line["item"] for line in lines if line["stage"] == "combine")


def make_plates(folder: Path) -> Path:
    folder.mkdir()
    for seed, name in enumerate(("key", "fill", "leak")):
        numbers = range(1, FRAMES + 1)
        pictures = {n: grain(100 * seed + n, 270, 480) for n in numbers}
        write_exr_pass(folder, name, pictures)
    return folder


def kill_all(service: "subprocess.Popen[str]") -> None:
    """Kill -9 the supervisor; its children end with it."""
    below = descendants(service.pid)
    service.send_signal(signal.SIGKILL)
    wait_until(lambda: alive(below) == set(), 10, "all processes are gone")


def state_of(page: str) -> dict[str, Any]:
    shown: dict[str, Any] = httpx.get(f"{page}/shots/{RUN}", trust_env=False).json()
    return shown


def ended(page: str) -> bool:
    return state_of(page)["ended"] is not None


def test_a_night_goes_on_where_it_stood_after_its_ledger_was_deleted(tmp_path: Path) -> None:
    server_program()
    calm, rough = make_plates(tmp_path / "calm"), tmp_path / "rough"
    shutil.copytree(calm, rough)
    up = ("up", "--port", "0", "--slots", "2")
    with running(*up, "--state", str(tmp_path / "s1"), folder=calm) as (_, told):
        httpx.post(f"{told['page']}/shots", json=job(), trust_env=False).raise_for_status()
        wait_until(lambda: ended(told["page"]), 120, "the undisturbed run is done")
    state = tmp_path / "s2"
    night = (*up, "--state", str(state))
    with running(*night, folder=rough) as (service, told):
        httpx.post(f"{told['page']}/shots", json=job(), trust_env=False).raise_for_status()
        wait_until(lambda: sum(made(rough).values()) >= FRAMES // 3, 120, "a third is done")
        kill_all(service)
    done = {name: (rough / "out/small/v001/master" / name).stat().st_mtime_ns for name in
            (f"small_v001.{frame}.exr" for frame in made(rough))}  # fmt: skip
    shutil.rmtree(state / "ledger")

    with running(*night, folder=rough) as (service, told):  # an empty ledger, and nothing at work
        assert httpx.get(f"{told['page']}/shots", trust_env=False).json()["shots"] == []
        rebuilt = glimsum("rebuild", "--state", str(state), folder=rough)
        assert rebuilt["problems"] == []
        assert [(run["run"], run["done"]) for run in rebuilt["runs"]] == [("small/v001", len(done))]
        wait_until(lambda: ended(told["page"]), 120, "the rough run is done")
        assert state_of(told["page"])["state"] == "done"
        kill_all(service)

    redone = [frame for frame, times in made(rough).items() if times != 1]
    figure = f"{len(done)} of {FRAMES} frames were done; {len(redone)} of them made again"
    print(figure)  # noqa: T201  # the figure this proof is about
    assert redone == []
    masters = rough / "out/small/v001/master"
    assert {name: (masters / name).stat().st_mtime_ns for name in done} == done
    assert digests(rough) == digests(calm)

    # At the end, and with no service running: the command brings its own server.
    shutil.rmtree(state / "ledger")
    rebuilt = glimsum("rebuild", "--state", str(state), folder=rough)
    assert [(run["state"], run["done"]) for run in rebuilt["runs"]] == [("done", FRAMES)]
    with running(*night, folder=rough) as (_, told):
        view = state_of(told["page"])
        assert (view["state"], view["progress"]["frames_done"]) == ("done", FRAMES)
        again = httpx.post(f"{told['page']}/shots", json=job(), trust_env=False)
        assert (again.status_code, again.json()["shots"][0]["version"]) == (200, 1)
    assert set(made(rough).values()) == {1}
