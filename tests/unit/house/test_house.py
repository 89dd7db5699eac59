"""The rules of the house that no tool knows by itself."""

import re
import subprocess
from pathlib import Path

import pytest

PROJECT = Path(__file__).parents[3]
TOP = {"README.md", "DEVELOPERS.md", "pyproject.toml", "LICENSE", "constraints.txt"} | {
    "services",
    "workers",
    "tests",
    "docker",
    "jobs",
}
LONGEST_FILE = 300


def tracked() -> list[Path]:
    """Return what git knows; without git (an unpacked wheel or archive) there is no house."""
    found = subprocess.run(
        ["git", "ls-files"], cwd=PROJECT, capture_output=True, text=True, check=False
    )
    if found.returncode:
        pytest.skip("not a git checkout")
    return [Path(line) for line in found.stdout.splitlines()]


def test_the_top_level_holds_only_what_belongs_there() -> None:
    extra = {path.parts[0] for path in tracked()} - TOP
    assert {name for name in extra if not name.startswith(".")} == set()


def test_no_file_holds_two_ideas() -> None:
    lengths = {
        str(path): len((PROJECT / path).read_text("utf-8").splitlines())
        for path in tracked()
        if path.suffix in (".py", ".js", ".css", ".html", ".lua") and (PROJECT / path).exists()
    }
    assert {path: lines for path, lines in lengths.items() if lines > LONGEST_FILE} == {}


def test_no_file_is_called_after_nothing() -> None:
    empty_words = {"utils", "util", "helpers", "helper", "common", "core", "manager", "misc"}
    assert [path for path in tracked() if path.stem in empty_words] == []


def test_pins_name_no_address() -> None:
    assert "://" not in (PROJECT / "constraints.txt").read_text("utf-8")


REFUSED_WORDS = re.compile(
    r"\b(roto\w*|pre-?comp\w*|comp node|node graph|render farm|farm manager|dailies bin"
    r"|lift[, ]+gamma|slave|solo|muted?|merge node|read node|write node|a/b)\b",
    re.IGNORECASE,
)
"""Words of particular programs, or words the trade has better ones for (README, vocabulary)."""

SEEN_BY_PEOPLE = ("README.md", "jobs/", "services/glimsum_services/page/", "docker/")


def test_no_refused_word_stands_where_people_read() -> None:
    hits = []
    for path in tracked():
        text = str(path)
        if not text.startswith(SEEN_BY_PEOPLE) or path.suffix in (".jpg", ".png", ".mp4"):
            continue
        for number, line in enumerate((PROJECT / path).read_text("utf-8").splitlines(), 1):
            if REFUSED_WORDS.search(line):
                hits.append(f"{text}:{number}: {line.strip()}")
    assert hits == []


def test_every_command_and_setting_is_in_the_readme() -> None:
    from typer.main import get_group

    from glimsum_services.cli.program import make_app
    from glimsum_services.settings import Settings

    readme = (PROJECT / "README.md").read_text("utf-8")
    commands = list(get_group(make_app()).commands)
    settings = [f"GLIMSUM_{name.upper()}" for name in Settings.model_fields]
    missing = [name for name in commands if f"`glimsum {name}" not in readme]
    missing += [name for name in settings if name not in readme]
    assert missing == []


def test_every_route_is_in_the_readme() -> None:
    from glimsum_services.api.app import create_app
    from glimsum_services.settings import Settings

    readme = (PROJECT / "README.md").read_text("utf-8")
    routes = create_app(Settings(broker="redis://127.0.0.1:1/0")).openapi()["paths"]
    ends = {route.rpartition("/{version}")[2] or route for route in routes}
    assert [end for end in sorted(ends) if end not in readme] == []


def test_every_job_field_is_explained_by_the_schema() -> None:
    from glimsum_jobs.reading import shot_schema

    assert set(shot_schema()["required"]) == {
        "glimsum",
        "shot",
        "rate",
        "camera",
        "frames",
        "passes",
        "output",
    }
