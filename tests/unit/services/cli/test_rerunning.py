"""Morning versions through a real service, with real pictures."""

import hashlib
import json
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from glimsum_services.report.night import SILENT_AFTER_S
from glimsum_services.store.machines import Machine
from support.api_work import wait_for
from support.small_shots import exr_pass, grain, raw_small_shot, write_exr_pass
from support.working_service import WorkingService, working_service

KEYS = [{"frame": 1001, "value": 0}, {"frame": 1002, "value": "out"}, {"frame": 1003, "value": 0}]
RECIPE: list[dict[str, Any]] = [
    {"pass": "key"},
    {"pass": "bulbs", "stops": KEYS},
    {"pass": "flash", "cues": [{"cue": 1, "frame": 1003}]},
]


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[WorkingService]:
    folder = tmp_path_factory.mktemp("morning")
    with working_service(folder) as running:
        plates = folder / "plates"
        for seed, name in enumerate(("key", "bulbs", "flash")):
            write_exr_pass(plates, name, {n: grain(10 * seed + n) for n in (1, 2, 3)})
        job = raw_small_shot(
            passes={name: exr_pass(name) for name in ("key", "bulbs", "flash")}, recipe=RECIPE
        )
        (folder / "small.json").write_text(json.dumps(job))
        running.ask_json("submit", str(folder / "small.json"))
        running.make("small/v001")
        yield running


def digests(folder: Path) -> list[str]:
    return [
        hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted((folder / "master").iterdir())
    ]


def frames_of(service: WorkingService, version: int) -> dict[int, str | None]:
    manifest = json.loads((service.version(version) / "manifest.json").read_text())
    return {each["frame"]: each["reused"] for each in manifest["frames"]}


def newest(service: WorkingService) -> int:
    return int(sorted((service.folder / "out" / "small").glob("v*"))[-1].name[1:])


def test_a_gain_is_changed_by_name_told_in_words_and_only_its_frames_are_combined(
    service: WorkingService,
) -> None:
    told = service.ask_json("rerun", "small/v001", "--stops", "flash=-0.5")

    run = told["runs"][0]["run"]
    assert told["changes"] == ["flash -0.5 stops (was 0)"]
    service.make(run)
    version = int(run[-3:])
    assert frames_of(service, version) == {1001: "v001", 1002: "v001", 1003: None}
    assert digests(service.version(version))[:2] == digests(service.version(1))[:2]
    order = json.loads((service.version(version) / "job.json").read_text())
    assert (order["earlier"], order["changes"]) == (1, told["changes"])
    manifest = json.loads((service.version(version) / "manifest.json").read_text())
    assert manifest["changes"] == told["changes"]


def test_page_report_and_words_tell_what_was_changed_and_taken_over(
    service: WorkingService,
) -> None:
    run = service.ask_json("rerun", "small/v001", "--tint", "bulbs=15")["runs"][0]["run"]
    service.make(run)

    report = service.ask_json("report", run)
    (shot,) = report["shots"]
    assert (shot["asked"], shot["made"], shot["reused"], shot["set_aside"]) == (3, 3, 1, 0)
    assert shot["changes"] == ["bulbs tint +15 mired (was 0)"]
    words = service.ask("report", run).output
    assert "3 of 3 frames made, 1 reused" in words
    assert "changed: bulbs tint +15 mired (was 0)" in words
    (seen,) = [service.ask_json("watch", run)]
    assert (seen["done"], seen["reused"]) == (3, 1)


def test_the_same_change_again_is_the_same_version_and_no_change_a_new_one(
    service: WorkingService,
) -> None:
    first = service.ask_json("rerun", "small/v001", "--stops", "key=0.25")["runs"][0]
    again = service.ask_json("rerun", "small/v001", "--stops", "key=0.25")["runs"][0]
    plain = service.ask_json("rerun", "small/v001")["runs"][0]

    assert (first["new"], again["new"], again["run"]) == (True, False, first["run"])
    assert plain["new"]
    service.make(first["run"])
    service.make(plain["run"])
    assert None not in frames_of(service, int(plain["run"][-3:])).values()


def test_without_reuse_every_frame_is_combined_anew_to_the_same_pixels(
    service: WorkingService,
) -> None:
    run = service.ask_json("rerun", "small/v001", "--no-reuse")["runs"][0]["run"]
    service.make(run)

    version = int(run[-3:])
    assert set(frames_of(service, version).values()) == {None}
    assert digests(service.version(version)) == digests(service.version(1))


def test_single_frames_are_made_as_they_are_in_the_whole_shot(service: WorkingService) -> None:
    words = ("rerun", "small/v001", "--stops", "bulbs=-2")
    part = service.ask_json(*words, "--frames", "1002-1003")["runs"][0]["run"]
    service.make(part)
    whole = service.ask_json(*words)["runs"][0]
    service.make(whole["run"])

    few, all_of_it = int(part[-3:]), int(whole["run"][-3:])
    assert whole["new"]
    assert sorted(frames_of(service, few)) == [1002, 1003]
    assert frames_of(service, all_of_it) == {1001: None, 1002: f"v{few:03d}", 1003: f"v{few:03d}"}
    assert service.link.ledger.record(part).state == "done"  # type: ignore[union-attr]  # it is there
    (shot,) = service.ask_json("report", part)["shots"]
    assert (shot["asked"], shot["made"], shot["left"]) == (2, 2, 0)


def test_frames_the_shot_does_not_have_are_refused(service: WorkingService) -> None:
    before = newest(service)
    result = service.ask("rerun", "small/v001", "--frames", "1002-1009")

    assert result.exit_code == 1
    assert "seen:     1002 to 1009" in result.output
    assert "expected: a part of 1001 to 1003" in result.output
    assert newest(service) == before


@pytest.mark.parametrize(
    ("change", "touched"),
    [
        (("--stops", "flash=1"), [1003]),
        (("--stops", "bulbs=1001:0,1002:out,1003:-1"), [1003]),
        (("--tint", "bulbs=7"), [1001, 1003]),
        (("--stops", "key=-1"), [1001, 1002, 1003]),
        (("--cue", "flash=1,frame=1002"), [1002, 1003]),
        (("--cue", "flash=2,frame=1001,stops=-1"), [1001]),
        ((), []),
    ],
    ids=["flash", "keyframes", "tint", "key", "cue moved", "cue new", "nothing"],
)
def test_the_plan_says_beforehand_which_frames_are_combined(
    service: WorkingService, change: tuple[str, ...], touched: list[int]
) -> None:
    before = newest(service)
    plan = service.ask_json("rerun", "small/v001", *change, "--plan")
    assert newest(service) == before  # nothing is made by planning

    run = service.ask_json("rerun", "small/v001", *change)["runs"][0]
    if run["new"]:
        service.make(run["run"])
    made = frames_of(service, int(run["run"][-3:]))
    assert plan["combined"]["count"] == len(touched)
    assert [frame for frame, reused in made.items() if reused is None] == touched
    assert plan["reused"]["count"] == 3 - len(touched)
    assert plan["measured"] == {}


def test_a_plan_reckons_time_and_room_from_the_last_version(service: WorkingService) -> None:
    machine = Machine(
        machine="desk", host="desk", slots=2, queues=("heavy",), program="0", started=0.0
    )
    service.link.machines.hear(machine)
    wait_for(lambda: bool(service.link.machines.heard_within(SILENT_AFTER_S)))

    plan = service.ask_json("rerun", "small/v001", "--stops", "key=-3", "--plan")

    sizes = [path.stat().st_size for path in (service.version(1) / "master").iterdir()]
    lines = (service.version(1) / "lines").iterdir()
    seconds = [
        json.loads(line)["seconds"]
        for file in lines
        for line in file.read_text().splitlines()
        if json.loads(line)["stage"] == "combine"
    ]
    assert plan["slots"] == 2
    assert plan["combined"]["bytes"] == pytest.approx(sum(sizes), rel=0.05)
    assert plan["seconds"] == pytest.approx(3 * sorted(seconds)[1] / 2, abs=0.5)
    words = service.ask("rerun", "small/v001", "--stops", "key=-3", "--plan").output
    assert "to combine: 3 frames: 1001 to 1003" in words
    assert "measured anew: nothing" in words


def test_a_name_that_is_no_step_and_a_wrong_value_are_told(service: WorkingService) -> None:
    unknown = service.ask("rerun", "small", "--stops", "moon=1")
    unread = service.ask("rerun", "small", "--stops", "key=bright")

    assert (unknown.exit_code, unread.exit_code) == (1, 2)
    assert "no step of the recipe is called moon" in unknown.output
    assert "expected: one of: bulbs, flash, key" in unknown.output
    assert "seen:     key=bright" in unread.output or "seen:     bright" in unread.output


def test_other_changes_come_from_a_file(service: WorkingService) -> None:
    file = service.folder / "changes.yaml"
    file.write_text("viewing: {width: 80}\n")

    told = service.ask_json("rerun", "small/v001", "--changes", str(file), "--stops", "key=-4")

    assert told["changes"] == ["key -4 stops (was 0)", "viewing.width 80 (was 64)"]


def test_waiting_follows_the_version_to_its_end(service: WorkingService) -> None:
    run = f"small/v{newest(service) + 1:03d}"

    def work() -> None:
        wait_for(lambda: service.link.ledger.record(run) is not None)
        service.make(run)

    worker = threading.Thread(target=work)
    worker.start()
    result = service.ask("rerun", "small/v001", "--stops", "flash=-5", "--wait")
    worker.join()

    assert result.exit_code == 0
    assert "  flash -5 stops (was 0)" in result.output
    assert result.output.splitlines()[-1] == f"{run}  done  3 of 3 frames, 2 of them taken over"
