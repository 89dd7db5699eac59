"""What docker/ promises, read from its files; tests/farm/containers.py holds it in running ones."""

import re
from pathlib import Path
from typing import Any

import pytest
from ruamel.yaml import YAML

DOCKER = Path(__file__).parents[3] / "docker"


@pytest.fixture(scope="module")
def services() -> dict[str, dict[str, Any]]:
    tree = YAML(typ="safe").load((DOCKER / "compose.yaml").read_text("utf-8"))
    found: dict[str, dict[str, Any]] = tree["services"]
    return found


def test_every_container_is_closed(services: dict[str, dict[str, Any]]) -> None:
    assert set(services) == {"broker", "api", "worker"}
    for each in services.values():
        assert each["read_only"] is True
        assert each["cap_drop"] == ["ALL"]
        assert each["security_opt"] == ["no-new-privileges:true"]
        assert each["user"].startswith("${GLIMSUM_USER")
        assert each["secrets"] == ["broker_url"]


def test_nothing_is_open_to_other_machines_unless_it_is_asked_for(
    services: dict[str, dict[str, Any]],
) -> None:
    ports = [port for each in services.values() for port in each.get("ports", [])]
    assert ports
    assert all(re.match(r"\$\{GLIMSUM_(LAN|PAGE):-127\.0\.0\.1\}:", port) for port in ports)


def test_sources_are_mounted_read_only(services: dict[str, dict[str, Any]]) -> None:
    for name in ("api", "worker"):
        plates = [each for each in services[name]["volumes"] if ":/plates" in each]
        assert [each.endswith(":ro") for each in plates] == [True]


def test_no_secret_is_in_an_environment(services: dict[str, dict[str, Any]]) -> None:
    for each in services.values():
        for name, value in each["environment"].items():
            assert "://" not in value, name


def test_the_server_writes_everything_and_throws_nothing_away() -> None:
    text = (DOCKER / "broker.conf").read_text("utf-8")
    words = dict(line.split(" ", 1) for line in text.splitlines() if not line.startswith("#"))
    kept = {name: words[name] for name in ("appendonly", "appendfsync", "maxmemory-policy")}
    assert kept == {"appendonly": "yes", "appendfsync": "always", "maxmemory-policy": "noeviction"}
    assert "requirepass" not in words


def test_the_image_runs_as_nobody_in_particular_and_says_whether_it_lives() -> None:
    text = (DOCKER / "Dockerfile").read_text("utf-8")
    last = text.rpartition("\nFROM ")[2]
    assert text.count("\nFROM ") == 2
    assert re.search(r"(?m)^USER \d+:\d+$", last)
    assert "HEALTHCHECK" in last
    assert "GLIMSUM_HOST=0.0.0.0" in last  # so that it asks for tokens


def test_the_line_for_a_spare_workstation_is_as_closed_as_the_others() -> None:
    text = (DOCKER / "README.md").read_text("utf-8")
    lines = [line for line in text.splitlines() if line.startswith("docker run")]
    assert len(lines) == 1
    for words in (
        "--read-only",
        "--cap-drop ALL",
        "--security-opt no-new-privileges",
        '--user "$(id -u):$(id -g)"',
        ":/plates:ro",
        "/run/secrets/broker_url:ro",
    ):
        assert words in lines[0]
