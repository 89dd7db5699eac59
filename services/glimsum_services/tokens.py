"""Tokens: who may ask what of the service; only their digests are kept, in the state folder."""

import fcntl
import hashlib
import hmac
import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from enum import StrEnum
from pathlib import Path
from secrets import token_hex, token_urlsafe

from pydantic import BaseModel, ConfigDict, TypeAdapter, ValidationError

from glimsum_jobs.errors import StoreError
from glimsum_jobs.problems import Place

FILE = "tokens.json"
SECRET_BYTES = 32
MOST_TOKENS = 1000
LONGEST_TEXT = 200
"""A text longer than this is no token."""
NOBODY = hashlib.sha256(b"").hexdigest()
"""What an unknown token is compared with, so that it takes as long as a known one."""


class Scope(StrEnum):
    """What a token is good for."""

    READ = "read"
    """Look at everything."""
    SUBMIT = "submit"
    """Hand in jobs and changes of jobs."""
    CONTROL = "control"
    """Pause, resume, cancel, make urgent, try frames again."""


class Token(BaseModel):
    """A token as it is kept: without its secret."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    id: str
    name: str
    """Whom or what it is for, in the words of who made it."""
    scopes: tuple[Scope, ...]
    shots: tuple[str, ...] = ()
    """Beginnings of the names of shots it may submit and control; empty: all."""
    secret_digest: str
    """SHA-256 of the secret, hexadecimal: 256 random bits need no slow function."""
    made: str
    """RFC 3339, UTC."""

    def may(self, scope: Scope) -> bool:
        """Return whether the token is good for `scope`."""
        return scope in self.scopes

    def may_change(self, shot: str) -> bool:
        """Return whether `shot` is one of those this token may submit and control."""
        return not self.shots or shot.startswith(self.shots)


_KEPT = TypeAdapter(tuple[Token, ...])


class Tokens:
    """The tokens of one service, in a private file of its state folder.

    Made and withdrawn by the command line, asked by the service; a change is seen at once.

    Parameters
    ----------
    state_folder : Path
        Made if absent.
    """

    def __init__(self, state_folder: Path) -> None:
        self._file = state_folder / FILE
        self._state: tuple[int, int, int] | None = None
        self._known: dict[str, Token] = {}

    def make(
        self, name: str, scopes: Sequence[Scope], shots: Sequence[str] = ()
    ) -> tuple[Token, str]:
        """Make a token and return it with its text ``id.secret``, which is kept nowhere.

        Raises
        ------
        StoreError
            The file can't be written, or there are too many tokens.
        """
        secret = token_urlsafe(SECRET_BYTES)
        token = Token(
            id=token_hex(6),
            name=name,
            scopes=tuple(dict.fromkeys(scopes)),
            shots=tuple(dict.fromkeys(shots)),
            secret_digest=_digest(secret),
            made=datetime.now(UTC).isoformat(timespec="seconds").replace("+00:00", "Z"),
        )
        with self._alone():
            kept = self.all()
            if len(kept) >= MOST_TOKENS:
                raise StoreError(
                    "there are too many tokens",
                    place=Place(file=str(self._file)),
                    seen=str(len(kept)),
                    expected=f"fewer than {MOST_TOKENS}",
                    remedy="Withdraw those nobody uses.",
                )
            self._keep([*kept, token])
        return token, f"{token.id}.{secret}"

    def withdraw(self, token_id: str) -> Token | None:
        """Withdraw a token and return it; None if there is none of that id."""
        with self._alone():
            kept = self.all()
            gone = next((each for each in kept if each.id == token_id), None)
            if gone is not None:
                self._keep([each for each in kept if each.id != token_id])
        return gone

    def all(self) -> list[Token]:
        """Return all tokens, oldest first.

        Raises
        ------
        StoreError
            The file can't be read or is not ours.
        """
        self._read()
        return list(self._known.values())

    def find(self, text: str) -> Token | None:
        """Return the token whose text this is, or None; raises as `all`."""
        self._read()
        name, _, secret = text[:LONGEST_TEXT].partition(".")
        token = self._known.get(name)
        kept = token.secret_digest if token else NOBODY
        right = hmac.compare_digest(_digest(secret), kept)
        return token if right and token is not None else None

    def _read(self) -> None:
        try:
            with self._file.open("rb") as file:
                status = os.fstat(file.fileno())
                state = (status.st_ino, status.st_mtime_ns, status.st_size)
                if state == self._state:
                    return
                kept = _KEPT.validate_json(file.read())
        except FileNotFoundError:
            self._state, self._known = None, {}
            return
        except (OSError, ValidationError) as error:
            raise StoreError(
                "the tokens can't be read",
                place=Place(file=str(self._file)),
                seen=type(error).__name__,
                expected="a file written by `glimsum token`",
                remedy="Put the file back, or remove it and make the tokens anew.",
            ) from error
        self._known = {each.id: each for each in kept}
        self._state = state

    def _keep(self, tokens: Sequence[Token]) -> None:
        part = self._file.with_name(f"{FILE}.part")
        try:
            descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
            with os.fdopen(descriptor, "wb") as out:
                out.write(_KEPT.dump_json(tuple(tokens), indent=1))
                out.flush()
                os.fsync(out.fileno())
            part.replace(self._file)
        except OSError as error:
            raise _unwritable(self._file, error) from error

    @contextmanager
    def _alone(self) -> Iterator[None]:
        """Keep other processes from changing the file while the block runs."""
        folder = self._file.parent
        try:
            folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            lock = os.open(folder / f"{FILE}.lock", os.O_RDWR | os.O_CREAT, 0o600)
        except OSError as error:
            raise _unwritable(self._file, error) from error
        try:
            fcntl.flock(lock, fcntl.LOCK_EX)
            yield
        finally:
            os.close(lock)


def _digest(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()


def _unwritable(file: Path, error: OSError) -> StoreError:
    return StoreError(
        "the tokens can't be kept",
        place=Place(file=str(file)),
        seen=error.strerror or str(error),
        expected="a state folder that we may write",
        remedy="Name another one in GLIMSUM_STATE_FOLDER, or free space on its disk.",
    )
