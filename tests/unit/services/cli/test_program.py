"""The program as a whole: help, exit codes, and what a small command may not load."""

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from glimsum_jobs.errors import JobError, OutputError, PathError, SourceError, StoreError
from glimsum_services.cli.exit_codes import MEANINGS, Ending, ending_of
from glimsum_services.cli.options import WrongUse
from glimsum_services.cli.program import COMMANDS, make_app
from glimsum_services.service_errors import ServiceAway, ServiceFailed

HEAVY = ("numpy", "OpenImageIO", "av", "celery", "redis", "fastapi", "httpx", "PyOpenColorIO")


def test_help_names_every_command_and_every_exit_code() -> None:
    result = CliRunner().invoke(make_app(), ["--help"])

    words = " ".join(result.output.split())
    assert result.exit_code == 0
    for command in COMMANDS:
        assert f" {command.__name__} " in words
    for code, meaning in MEANINGS.items():
        assert f"{code:d} {meaning}" in words


def test_a_reader_that_goes_ends_a_command_quietly() -> None:
    command = [sys.executable, "-c", "from glimsum_services.cli import main; main()", "spaces"]
    with subprocess.Popen(
        command,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
    ) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        told = process.stderr.read()

    assert told == b""
    assert process.returncode == Ending.READER_GONE


@pytest.mark.parametrize("command", [command.__name__ for command in COMMANDS])
def test_every_command_has_a_machine_form_and_tells_its_exit_codes(command: str) -> None:
    result = CliRunner().invoke(make_app(), [command, "--help"])

    assert result.exit_code == 0
    assert "--json" in result.output
    assert "Exit codes: 0 done" in result.output


@pytest.mark.parametrize("arguments", [["--help"], ["schema"], ["check", "--help"]])
def test_a_small_command_loads_neither_engine_nor_queue_nor_web(arguments: list[str]) -> None:
    script = (
        "import sys\n"
        "from glimsum_services.cli.program import make_app\n"
        f"try:\n    make_app()({arguments!r})\n"
        "except SystemExit as end:\n    assert end.code == 0, end.code\n"
        f"print('LOADED', [name for name in {HEAVY!r} if name in sys.modules])\n"
    )

    done = subprocess.run(
        [sys.executable, "-c", script],
        capture_output=True,
        text=True,
        check=True,
        env={"PYTHONPATH": ":".join(sys.path)},
    )

    assert done.stdout.splitlines()[-1] == "LOADED []"


@pytest.mark.parametrize(
    ("error", "ending"),
    [
        (JobError("a", []), Ending.REFUSED),
        (SourceError("a"), Ending.REFUSED),
        (PathError("a"), Ending.REFUSED),
        (WrongUse("a"), Ending.WRONG_USE),
        (ServiceAway("a"), Ending.NO_SERVICE),
        (ServiceFailed("a"), Ending.FAILED),
        (OutputError("a"), Ending.FAILED),
        (StoreError("a"), Ending.FAILED),
    ],
)
def test_every_kind_of_error_has_its_exit_code(error: Exception, ending: Ending) -> None:
    assert ending_of(error) is ending  # type: ignore[arg-type]  # all of one tree


def test_the_readme_states_the_exit_codes() -> None:
    readme = (Path(__file__).parents[4] / "README.md").read_text("utf-8")

    found = {
        int(code): words for code, words in re.findall(r"^\| (\d+) \| (.+?) \|$", readme, re.M)
    }

    assert found == {int(code): words for code, words in MEANINGS.items()}


def test_schema_is_the_schema_of_a_shot_job() -> None:
    result = CliRunner().invoke(make_app(), ["schema"])

    schema = json.loads(result.output)
    assert result.exit_code == 0
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert {"glimsum", "shot", "passes", "output"} <= set(schema["required"])
    assert schema["additionalProperties"] is False


def test_schema_of_a_sequence_lets_a_shot_leave_to_the_defaults_what_it_likes() -> None:
    result = CliRunner().invoke(make_app(), ["schema", "--sequence"])

    schema = json.loads(result.output)
    assert set(schema["required"]) == {"glimsum", "sequence", "shots"}
    assert "required" not in schema["$defs"]["PartOfShot"]
    assert "passes" in schema["$defs"]["PartOfShot"]["properties"]
    assert schema["properties"]["shots"]["maxItems"] == 500
