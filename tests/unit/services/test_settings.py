from pathlib import Path

import pytest

from glimsum_jobs.errors import JobError
from glimsum_services.settings import Settings, load_settings, variable


def test_environment_stands_over_file_and_given_over_environment(tmp_path: Path) -> None:
    (tmp_path / "glimsum.toml").write_text('port = 1001\nlease_s = 30.0\nhost = "::1"\n')
    environment = {"GLIMSUM_STATE_FOLDER": str(tmp_path), "GLIMSUM_PORT": "1002"}

    found = load_settings(environment, host="127.0.0.2")

    assert (found.port, found.lease_s, found.host) == (1002, 30.0, "127.0.0.2")


def test_roots_are_read_from_one_line_and_from_a_table(tmp_path: Path) -> None:
    file = tmp_path / "own.toml"
    file.write_text('[roots]\nplates = "/mnt/plates"\nout = "/mnt/out"\n')
    expected = {"plates": Path("/mnt/plates"), "out": Path("/mnt/out")}

    assert load_settings({"GLIMSUM_SETTINGS": str(file)}).roots == expected
    line = {"GLIMSUM_ROOTS": "plates=/mnt/plates, out=/mnt/out"}
    assert load_settings(line, state_folder=tmp_path).roots == expected


def test_a_secret_is_read_from_a_file(tmp_path: Path) -> None:
    file = tmp_path / "broker"
    file.write_text("redis://:secret@farm.example/0\n")

    found = load_settings({"GLIMSUM_BROKER_FILE": str(file)}, state_folder=tmp_path)

    assert found.broker == "redis://:secret@farm.example/0"


def test_state_folder_follows_the_xdg_state_home(tmp_path: Path) -> None:
    # XDG Base Directory Specification: $XDG_STATE_HOME, else ~/.local/state
    assert load_settings({"XDG_STATE_HOME": str(tmp_path)}).state_folder == tmp_path / "glimsum"


def test_settings_come_back_from_their_own_variables_without_the_broker(tmp_path: Path) -> None:
    settings = load_settings(
        {},
        state_folder=tmp_path,
        roots={"plates": "/mnt/plates", "out": "/mnt/out"},
        queues=("light",),
        broker="redis://:secret@farm.example/0",
        lease_s=9.5,
        beat_s=2.5,
    )

    words = settings.environment()

    assert "secret" not in repr(words)
    assert load_settings(words, broker=settings.broker) == settings


@pytest.mark.parametrize(
    ("environment", "words"),
    [
        ({"GLIMSUM_PORT": "70000"}, r"port.*70000"),
        ({"GLIMSUM_SLOTS": "0"}, r"slots"),
        ({"GLIMSUM_ROOTS": "plates=relative/folder"}, r"plates=relative/folder.*absolute folder"),
        ({"GLIMSUM_QUEUES": "heavy,fast"}, r"heavy,fast: known queues are light, heavy"),
        ({"GLIMSUM_TIME_ZONE": "Mars/Olympus"}, r"Mars/Olympus: no such time zone"),
        ({"GLIMSUM_BROKER": "http://farm.example"}, r"redis://, rediss:// or unix://"),
        ({"GLIMSUM_BEAT_S": "10"}, r"beat_s 10 is above a third of lease_s 20"),
        ({"GLIMSUM_TICK_S": "5"}, r"tick_s 5 is above a fifth of lease_s 20"),
        ({"GLIMSUM_BROKER_FILE": "/nowhere/broker"}, r"can't be read.*/nowhere/broker"),
        ({"GLIMSUM_SETTINGS": "/nowhere/own.toml"}, r"can't be read.*/nowhere/own.toml"),
    ],
)
def test_a_wrong_setting_is_named_with_its_value(
    tmp_path: Path, environment: dict[str, str], words: str
) -> None:
    with pytest.raises(JobError, match=rf"(?s){words}"):
        load_settings({"GLIMSUM_STATE_FOLDER": str(tmp_path)} | environment)


def test_an_unknown_setting_in_the_file_is_named(tmp_path: Path) -> None:
    (tmp_path / "glimsum.toml").write_text("prot = 1001\n")

    with pytest.raises(JobError, match="prot"):
        load_settings({}, state_folder=tmp_path)


def test_every_setting_has_words_and_a_variable() -> None:
    for name, field in Settings.model_fields.items():
        assert field.description, name
        assert variable(name) == f"GLIMSUM_{name.upper()}"


@pytest.mark.parametrize(
    ("given", "asks"),
    [
        ({}, False),
        ({"host": "localhost"}, False),
        ({"host": "::1"}, False),
        ({"host": "127.0.0.9"}, False),
        ({"host": "0.0.0.0"}, True),  # noqa: S104  # stated, not bound
        ({"host": "192.168.1.20"}, True),
        ({"host": "farm.local"}, True),
        ({"lan": "192.168.1.20"}, True),
        ({"lan": "192.168.1.20", "host": "localhost"}, True),
    ],
)
def test_tokens_are_asked_for_as_soon_as_others_can_reach_the_service(
    tmp_path: Path, given: dict[str, str], *, asks: bool
) -> None:
    # RFC 1122, 3.2.1.3: 127.0.0.0/8 is this machine; RFC 4291, 2.5.3: so is ::1.
    assert load_settings({}, state_folder=tmp_path, **given).asks_for_tokens is asks


@pytest.mark.parametrize("address", ["home", "127.0.0.1", "0.0.0.0", "192.168.1.300", "::"])  # noqa: S104  # the same
def test_an_address_others_can_not_use_is_no_address_of_the_home_network(
    tmp_path: Path, address: str
) -> None:
    with pytest.raises(JobError, match=rf"(?s)lan.*{address}"):
        load_settings({"GLIMSUM_LAN": address}, state_folder=tmp_path)


def test_no_secret_travels_in_the_environment(tmp_path: Path) -> None:
    secrets = {"broker": "redis://:hidden@farm/0", "token": "0123456789ab.hidden"}
    settings = load_settings({}, state_folder=tmp_path, **secrets)
    assert "hidden" not in repr(settings.environment())


def test_a_state_folder_is_the_same_wherever_a_process_works(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)

    settings = load_settings({"GLIMSUM_STATE_FOLDER": "shot/state"})

    assert settings.state_folder == tmp_path / "shot" / "state"
