"""Wrong use of options is told before anything is started."""

from pathlib import Path

import pytest
from typer.testing import CliRunner

from glimsum_services.cli.options import WrongUse, read_roots
from glimsum_services.cli.program import make_app


def test_roots_are_made_absolute(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "plates").mkdir()
    monkeypatch.chdir(tmp_path)

    assert read_roots(["plates=plates"]) == {"plates": tmp_path / "plates"}


@pytest.mark.parametrize("pair", ["plates", "=x", "plates=/no/such/folder"])
def test_a_root_that_is_none_is_refused_with_its_form(pair: str) -> None:
    with pytest.raises(WrongUse, match=f"seen: {pair}; expected: NAME=FOLDER"):
        read_roots([pair])


def test_a_worker_without_a_broker_asks_which(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("GLIMSUM_BROKER", raising=False)

    result = CliRunner().invoke(make_app(), ["worker"])

    assert result.exit_code == 2
    assert "which service is this worker for?" in result.output
    assert "GLIMSUM_BROKER" in result.output


def test_a_setting_that_can_not_be_is_wrong_use_and_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("GLIMSUM_SLOTS", "none")

    result = CliRunner().invoke(make_app(), ["up"])

    assert result.exit_code == 2
    assert "slots" in result.output
    assert "seen:     'none'" in result.output


def test_a_draft_is_not_written_over_a_job(tmp_path: Path) -> None:
    (tmp_path / "card").mkdir()
    (tmp_path / "card.yaml").write_text("mine")

    result = CliRunner().invoke(make_app(), ["draft", str(tmp_path / "card")])

    assert result.exit_code == 2
    assert "is not written over" in result.output
    assert (tmp_path / "card.yaml").read_text() == "mine"


def test_a_still_with_an_unknown_ending_is_refused_before_the_job_is_read(tmp_path: Path) -> None:
    out = tmp_path / "frame.gif"

    result = CliRunner().invoke(make_app(), ["still", "no.yaml", "1001", "--out", str(out)])

    assert result.exit_code == 2
    assert "expected: FILE.exr, FILE.jpg or FILE.png" in result.output
