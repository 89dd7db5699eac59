"""`glimsum token`: made, shown once, listed without secrets, withdrawn."""

import json
import stat
from pathlib import Path

import pytest
from typer.testing import CliRunner

from glimsum_services.cli.program import make_app
from glimsum_services.tokens import Scope, Tokens


@pytest.fixture
def state(tmp_path: Path) -> list[str]:
    return ["--state", str(tmp_path)]


def ask(*words: str) -> str:
    answer = CliRunner().invoke(make_app(), ["token", *words], catch_exceptions=False)
    assert answer.exit_code == 0, answer.output
    return answer.stdout


def test_a_token_is_printed_alone_on_the_standard_output(tmp_path: Path, state: list[str]) -> None:
    text = ask("make", "night", "--scope", "submit", "--shots", "mole_", *state).strip()
    found = Tokens(tmp_path).find(text)
    assert found is not None
    assert (found.name, found.scopes, found.shots) == ("night", (Scope.SUBMIT,), ("mole_",))


def test_a_list_shows_no_secret_and_a_withdrawn_one_is_gone(
    tmp_path: Path, state: list[str]
) -> None:
    made = json.loads(ask("make", "night", "--json", *state))
    listed = ask("list", *state) + ask("list", "--json", *state)
    assert made["id"] in listed
    assert made["token"].partition(".")[2] not in listed
    assert "digest" not in listed
    ask("withdraw", made["id"], *state)
    assert Tokens(tmp_path).find(made["token"]) is None
    again = CliRunner().invoke(make_app(), ["token", "withdraw", made["id"], *state])
    assert again.exit_code == 1


def test_a_token_goes_into_a_new_private_file(tmp_path: Path, state: list[str]) -> None:
    out = tmp_path / "token"
    printed = ask("make", "night", "--out", str(out), *state)
    text = out.read_text().strip()
    assert Tokens(tmp_path).find(text) is not None
    assert text not in printed
    assert stat.S_IMODE(out.stat().st_mode) == 0o600
    again = CliRunner().invoke(make_app(), ["token", "make", "x", "--out", str(out), *state])
    assert again.exit_code == 2
    assert "File exists" in again.output
    assert len(Tokens(tmp_path).all()) == 1
