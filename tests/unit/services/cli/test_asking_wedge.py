"""`glimsum wedge SHOT`: a service makes it, and it is what would have been made here."""

import json
import threading
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from glimsum_jobs.ledger import Stage
from support.small_shots import exr_pass, grain, raw_small_shot, write_exr_pass
from support.working_service import WorkingService, working_service
from unit.services.cli.test_wedging import ask


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[WorkingService]:
    folder = tmp_path_factory.mktemp("wedges")
    with working_service(folder) as running:
        for seed, name in enumerate(("key", "bulbs")):
            write_exr_pass(folder / "plates", name, {n: grain(10 * seed + n) for n in (1, 2, 3)})
        tree = raw_small_shot(
            passes={name: exr_pass(name) for name in ("key", "bulbs")},
            recipe=[{"pass": "key"}, {"pass": "bulbs"}],
        )
        (folder / "small.json").write_text(json.dumps(tree))
        running.ask_json("submit", str(folder / "small.json"))
        running.make("small/v001")
        yield running


def work_while(service: WorkingService, done: threading.Event) -> threading.Thread:
    """Turn to wedges as a slot does, in a thread, until `done`."""

    def work() -> None:
        while not done.wait(0.05):
            service.place.work_on_shot("small/v001", [Stage.WEDGE])

    thread = threading.Thread(target=work)
    thread.start()
    return thread


def test_a_service_makes_the_same_wedge_and_its_cells_are_picked_the_same_way(
    service: WorkingService,
) -> None:
    folder = service.folder
    asked = ["1002", "--vary", "bulbs=-2,0", "--out"]
    roots = [word for name in ("plates", "out") for word in ("--root", f"{name}={folder / name}")]
    local = ask("wedge", folder / "small.json", *asked, folder / "here.jpg", *roots)
    assert local.exit_code == 0, local.output
    done = threading.Event()
    thread = work_while(service, done)
    try:
        result = service.ask("wedge", "small/v001", *asked, str(folder / "there.jpg"))
        told = service.ask_json("wedge", "small/v1", *asked, str(folder / "again.jpg"))
    finally:
        done.set()
        thread.join(20)

    assert result.exit_code == 0, result.output
    lines = result.output.splitlines()
    assert "  small, frame 1002, now bulbs 0 stops" in lines[-4]
    assert lines[-1] == f"to take one: glimsum pick {folder / 'there.jpg'} 1"
    assert (folder / "there.jpg").read_bytes() == (folder / "here.jpg").read_bytes()
    written = json.loads((folder / "there.json").read_text())
    here = json.loads((folder / "here.json").read_text())
    assert written == here | {"sheet": "there.jpg", "job": "small/v001", "version": 1}
    assert (told["state"], told["sheet"], told["problems"]) == ("done", "again.jpg", [])

    taken = service.ask_json("pick", str(folder / "there.jpg"), "1")
    assert taken["changes"] == ["bulbs -2 stops (was 0)"]
    no_file = ask("pick", folder / "there.jpg", 1, "--out", folder / "new.json")
    assert no_file.exit_code == 2
    assert "there is no job file to change" in no_file.output


def test_a_wedge_of_a_service_is_watched_and_cancelled_by_its_name(
    service: WorkingService,
) -> None:
    body = {"shot": "small", "frames": [1001], "varied": [{"name": "bulbs", "values": [1]}]}
    run = httpx.post(f"{service.address}/wedges", json=body, trust_env=False).json()["run"]

    assert service.ask_json("pause", run)["runs"][0]["state"] == "paused"
    assert service.ask_json("resume", run)["runs"][0]["state"] == "combining"
    retried = service.ask("retry", run)
    assert (retried.exit_code, "a wedge is not tried again" in retried.output) == (2, True)
    rerun = service.ask("rerun", run)
    assert (rerun.exit_code, "a wedge is no version" in rerun.output) == (2, True)
    assert service.ask_json("cancel", run)["runs"][0]["state"] == "cancelled"
    watched = service.ask("watch", run)
    assert (watched.exit_code, f"{run}  cancelled" in watched.output) == (1, True)


def test_wedges_of_a_service_are_listed_and_picked_by_their_names(service: WorkingService) -> None:
    body = {"shot": "small", "version": 1, "frames": [1001, 1003], "width": 64,
            "varied": [{"name": "bulbs", "values": [-1, "out"]}]}  # fmt: skip
    asked = httpx.post(f"{service.address}/wedges", json=body, trust_env=False).json()
    run = asked["run"]
    early = service.ask("pick", run, "1")
    assert (early.exit_code, f"{run} has no sheet" in early.output) == (1, True)
    service.place.work_on_shot("small/v001", [Stage.WEDGE])
    assert service.ask("watch", run).exit_code == 0

    listed = service.ask("wedges", "small").output.splitlines()

    sheet = service.folder / "out" / "small" / "wedges" / run[-4:] / f"small_{run[-4:]}.jpg"
    assert listed[1].split() == [
        run, "v001", "done", "1001", "1003", "--vary", "bulbs=-1,out", listed[1].split()[-1]
    ]  # fmt: skip
    assert listed[1].split()[-1].endswith(f"/wedges/{run[-4:]}/{sheet.name}")
    assert sheet.is_file()
    assert listed[-1] == f"to take one: glimsum pick {run} CELL"
    told = service.ask_json("wedges", "small")["wedges"]
    assert [each["run"] for each in told] == sorted((each["run"] for each in told), reverse=True)

    taken = service.ask_json("pick", run, "2")
    assert taken["changes"] == ["bulbs out (was 0)"]
    no_cell = service.ask("pick", run, "9")
    assert (no_cell.exit_code, "there is no such cell" in no_cell.output) == (1, True)
    no_file = service.ask("pick", run, "1", "--out", str(service.folder / "new.json"))
    assert (no_file.exit_code, "there is no job file to change" in no_file.output) == (2, True)
    version = service.ask("wedges", "small/v001")
    assert (version.exit_code, "this is no name of a shot" in version.output) == (2, True)
    no_wedge = service.ask("pick", "small/v001", "1")
    assert (no_wedge.exit_code, "neither a sheet nor a wedge" in no_wedge.output) == (2, True)
    unknown = service.ask("wedges", "quay")
    assert (unknown.exit_code, "there is no shot quay" in unknown.output) == (1, True)


@pytest.mark.parametrize(
    ("named", "code", "expected"),
    [
        ("nothing.yaml", 2, "field JOB: this is neither a job file nor a shot"),
        ("no/folder", 2, "expected: a job file that is there, or SHOT or SHOT/vNNN"),
        ("quay", 2, "quay: no such file here; there is no shot quay"),
    ],
)
def test_a_name_that_is_neither_file_nor_shot_is_told_with_both(
    service: WorkingService, named: str, code: int, expected: str
) -> None:
    out = service.folder / "neither.jpg"

    result = service.ask("wedge", named, "1", "--vary", "a=1", "--out", str(out))

    assert (result.exit_code, out.exists()) == (code, False)
    assert expected in result.output


def test_where_no_service_answers_the_missing_file_is_told_too(tmp_path: Path) -> None:
    words = ["wedge", "quay", "1", "--vary", "a=1", "--out", str(tmp_path / "a.jpg")]

    result = ask(*words, "--service", "http://127.0.0.1:9")

    assert result.exit_code == 3
    assert "Or name a job file: there is no file quay here." in result.output
    png = ask(*words[:-1], str(tmp_path / "a.png"), "--service", "http://127.0.0.1:9")
    assert "expected: FILE.jpg in a folder that is there" in png.output
