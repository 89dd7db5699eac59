"""Tokens: printed once, kept as digests, withdrawn at once."""

import hashlib
import stat
from pathlib import Path

import pytest

from glimsum_jobs.errors import StoreError
from glimsum_services.tokens import FILE, Scope, Tokens


def test_only_the_digest_of_a_secret_is_kept_in_a_private_file(tmp_path: Path) -> None:
    token, text = Tokens(tmp_path).make("night", [Scope.READ, Scope.SUBMIT])
    name, _, secret = text.partition(".")
    kept = (tmp_path / FILE).read_text()

    # FIPS 180-4 SHA-256, by the standard library.
    assert (token.id, token.secret_digest) == (name, hashlib.sha256(secret.encode()).hexdigest())
    assert secret not in kept
    assert stat.S_IMODE((tmp_path / FILE).stat().st_mode) == 0o600
    # RFC 4648 base64url without padding: 256 bits are 43 characters.
    assert len(secret) == 43


def test_a_token_is_found_by_its_whole_text_alone(tmp_path: Path) -> None:
    tokens = Tokens(tmp_path)
    token, text = tokens.make("night", [Scope.READ])
    other, _ = tokens.make("day", [Scope.READ])
    secret = text.partition(".")[2]

    assert Tokens(tmp_path).find(text) == token
    for wrong in ("", ".", token.id, f"{token.id}.", text[:-1], text + "x", f"{other.id}.{secret}"):
        assert tokens.find(wrong) is None


def test_one_made_or_withdrawn_elsewhere_is_seen_at_once(tmp_path: Path) -> None:
    service, command = Tokens(tmp_path), Tokens(tmp_path)
    token, text = command.make("night", [Scope.READ])
    assert service.find(text) == token
    assert command.withdraw(token.id) == token
    assert service.find(text) is None
    assert command.withdraw(token.id) is None


def test_a_file_that_is_not_ours_lets_nobody_in(tmp_path: Path) -> None:
    (tmp_path / FILE).write_text("{}")
    with pytest.raises(StoreError, match=rf"tokens can't be read.*{FILE}"):
        Tokens(tmp_path).find("a.b")


def test_a_token_for_some_shots_is_not_for_others(tmp_path: Path) -> None:
    token, _ = Tokens(tmp_path).make("night", [Scope.SUBMIT], ["mole_", "quay_"])
    changed = {shot: token.may_change(shot) for shot in ("mole_040", "quay_1", "mole", "pier_040")}
    assert changed == {"mole_040": True, "quay_1": True, "mole": False, "pier_040": False}
