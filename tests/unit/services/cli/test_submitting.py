"""Submitting and following through a real service; only the pictures are left out."""

import json
import threading
from pathlib import Path

import httpx
import pytest
from typer.testing import CliRunner, Result

from glimsum_services.cli.exit_codes import Ending
from glimsum_services.cli.program import make_app
from unit.services.cli.conftest import Standing

RUN = "mole_040/v001"


def ask(*words: str) -> Result:
    return CliRunner().invoke(make_app(), list(words))


def test_a_job_is_submitted_with_its_paths_named_by_the_roots_of_the_service(
    service: Standing,
) -> None:
    result = ask("submit", str(service.job), "--service", service.address, "--json")

    told = json.loads(result.output)
    assert result.exit_code == 0
    assert told["runs"] == [{"run": RUN, "new": True, "folder": "out:mole_040/v001"}]
    kept = json.loads((service.work.out / "mole_040" / "v001" / "job.json").read_text())
    assert kept["job"]["passes"]["haze"]["files"] == "plates:haze/haze.%04d.png"


def test_the_same_job_again_is_the_same_version(service: Standing) -> None:
    ask("submit", str(service.job), "--service", service.address)

    again = ask("submit", str(service.job), "--service", service.address)

    assert again.exit_code == 0
    assert f"{RUN}  out:mole_040/v001  the same job as before" in again.output


def test_of_several_files_none_is_submitted_if_one_is_wrong(
    service: Standing, tmp_path: Path
) -> None:
    wrong = tmp_path / "plates" / "wrong.yaml"
    wrong.write_text("glimsum: 1\nshot: mole_050\nrate: none\n")

    result = ask("submit", str(service.job), str(wrong), "--service", service.address)

    assert result.exit_code == 1
    assert "nothing was submitted" in result.output
    assert f"file {wrong}, field rate, line 3" in result.output
    assert not (service.work.out / "mole_040").exists()


def test_a_path_outside_the_roots_is_refused_with_the_roots_there_are(
    service: Standing, tmp_path: Path
) -> None:
    job = tmp_path / "elsewhere.json"
    job.write_text(service.job.read_text())

    result = ask("submit", str(job), "--service", service.address)

    assert result.exit_code == 1
    assert f"seen:     {tmp_path}/beauty/beauty.%04d.png" in result.output
    assert f"plates={tmp_path}/plates" in result.output


def test_a_sequence_is_one_submit_and_stands_by_itself(service: Standing, tmp_path: Path) -> None:
    sequence = tmp_path / "plates" / "night.yaml"
    sequence.write_text("glimsum: 1\nsequence: night\nshots:\n- job: mole_040.json\n")

    alone = ask("submit", str(sequence), "--service", service.address, "--json")
    together = ask("submit", str(sequence), str(service.job), "--service", service.address)

    assert [each["run"] for each in json.loads(alone.output)["runs"]] == [RUN]
    assert together.exit_code == 2
    assert "a sequence is submitted by itself" in together.output


def test_waiting_follows_the_run_to_its_end_and_ends_with_0_when_it_is_whole(
    service: Standing,
) -> None:
    worker = threading.Thread(target=_make_all, args=(service, 12, 0))
    worker.start()

    result = ask("submit", str(service.job), "--service", service.address, "--wait", "--json")

    worker.join()
    lines = [json.loads(line) for line in result.output.splitlines()]
    assert result.exit_code == 0
    assert lines[0]["runs"][0]["run"] == RUN
    assert lines[-1]["state"] == "done"
    assert (lines[-1]["done"], lines[-1]["total"], lines[-1]["ended"]) == (12, 12, True)
    way = ["checking", "measuring", "combining", "finishing", "done"]
    places = [way.index(line["state"]) for line in lines[1:]]
    assert places == sorted(places)


def test_waiting_ends_with_1_when_a_frame_was_set_aside(service: Standing) -> None:
    worker = threading.Thread(target=_make_all, args=(service, 11, 1))
    worker.start()

    result = ask("submit", str(service.job), "--service", service.address, "--wait")

    worker.join()
    assert result.exit_code == 1
    assert f"{RUN}  done with remarks  11 of 12 frames, 1 set aside" in result.output
    assert f"{RUN}, frame 1012 is set aside: haze.0104.jpg is cut off" in result.output


def test_waiting_for_a_job_whose_files_are_refused_tells_why_and_ends_with_1(
    service: Standing,
) -> None:
    problem = {
        "rank": "stops the shot",
        "what": "pass haze has another size than the others",
        "place": {"shot": "mole_040", "pass_name": "haze"},
        "seen": "1920 x 1080 pixels",
        "expected": "960 x 540 pixels",
    }
    worker = threading.Thread(target=service.work.check, args=(RUN, [problem]))
    worker.start()

    result = ask("submit", str(service.job), "--service", service.address, "--wait")

    worker.join()
    assert result.exit_code == 1
    assert "pass haze: pass haze has another size than the others" in result.output
    assert "seen:     1920 x 1080 pixels" in result.output


@pytest.mark.parametrize(
    ("command", "state"), [("pause", "paused"), ("resume", "checking"), ("cancel", "cancelled")]
)
def test_a_run_can_be_paused_resumed_and_cancelled(
    service: Standing, command: str, state: str
) -> None:
    ask("submit", str(service.job), "--service", service.address)

    result = ask(command, "mole_040", "--service", service.address, "--json")

    assert result.exit_code == 0
    assert [(run["run"], run["state"]) for run in json.loads(result.output)["runs"]] == [
        (RUN, state)
    ]


def test_a_run_that_is_not_there_is_refused_by_its_name(service: Standing) -> None:
    result = ask("watch", "mole_041", "--service", service.address)

    assert result.exit_code == 1
    assert "there is no shot mole_041" in result.output


def test_watching_nothing_says_so_and_is_done(service: Standing) -> None:
    result = ask("watch", "--service", service.address)

    assert (result.exit_code, result.output) == (0, "nothing is being worked on\n")


def test_a_service_that_is_not_there_ends_with_3_and_the_way_out(service: Standing) -> None:
    result = ask("watch", "--service", "http://127.0.0.1:9")  # port 9: discard, RFC 863; nobody

    assert result.exit_code == 3
    assert "no service answers" in result.output
    assert "seen:     http://127.0.0.1:9" in result.output
    assert "type: glimsum up --port 9. Then type this line again" in result.output


def _make_all(service: Standing, done: int, aside: int) -> None:
    work = service.work
    work.check(RUN)
    work.solve(RUN)
    for _ in range(done):
        work.combine(RUN)
    for _ in range(aside):
        work.lose(RUN, "haze.0104.jpg is cut off")
    work.finish(RUN)


@pytest.mark.parametrize(("option", "seen"), [("--not-before", "25:99"), ("--window", "22:00")])
def test_hours_that_can_not_be_read_are_refused_before_anything_is_submitted(
    service: Standing, option: str, seen: str
) -> None:
    result = ask("submit", str(service.job), option, seen, "--service", service.address)

    assert result.exit_code == Ending.WRONG_USE
    told = result.stderr
    assert option in told
    assert seen in told
    assert "Write it in one of these forms." in told
    assert httpx.get(f"{service.address}/shots").json()["shots"] == []
