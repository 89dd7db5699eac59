"""Every setting: default, unit, environment variable; nothing is read when this is imported."""

import ipaddress
import os
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Literal, Self
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator

from glimsum_jobs.errors import JobError
from glimsum_jobs.problems import Place, Problem, Rank
from glimsum_jobs.tickets import QUEUE_STAGES

ENVIRONMENT_PREFIX = "GLIMSUM_"
SETTINGS_FILE = "glimsum.toml"
SECRETS = ("broker", "token")
"""Settings that may hold what nobody else should read."""

_ROOT = re.compile(r"[A-Za-z][A-Za-z0-9_-]{0,63}")


def state_folder_of(environment: Mapping[str, str]) -> Path:
    """Return where state is kept by default (XDG Base Directory Specification, state home)."""
    base = environment.get("XDG_STATE_HOME") or str(Path.home() / ".local" / "state")
    return Path(base) / "glimsum"


def _cores() -> int:
    """Return how many processors this process may use."""
    usable = getattr(os, "sched_getaffinity", None)
    return len(usable(0)) if usable else (os.cpu_count() or 1)


class Settings(BaseModel):
    """The settings of this machine.

    The name of a variable is ``GLIMSUM_`` and the field in capitals. ``GLIMSUM_..._FILE`` names a
    file that holds the value instead, for what nobody else should read.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    state_folder: Path = Field(
        default_factory=lambda: state_folder_of(os.environ),
        description="Folder of the ledger, the worker's name and the logs; on a local disk.",
    )
    broker: str = Field(
        default="",
        description="Server of queue and ledger: redis://, rediss:// or unix://. "
        "Empty: our own, started in the state folder.",
    )
    roots: dict[str, Path] = Field(
        default_factory=dict,
        description="Folders jobs may name, as plates=/mnt/plates,out=/mnt/out.",
    )
    host: str = Field(default="127.0.0.1", description="Address the page and the API listen on.")
    port: int = Field(default=8470, ge=0, le=65535, description="Port of the page and the API.")
    names: tuple[str, ...] = Field(
        default=(), description="More names the page and the API may be asked under."
    )
    lan: str = Field(
        default="",
        description="Address of this machine in the home network, opened to other machines.",
    )
    lan_port: int = Field(
        default=8471, ge=1, le=65535, description="Port of queue and ledger for other machines."
    )
    token: str = Field(default="", description="Token that `submit`, `watch` and the like show.")
    log: Literal["text", "json"] = Field(
        default="text", description="Form of the log: words, or one JSON object a line."
    )
    slots: int = Field(
        default_factory=_cores, ge=1, le=1024, description="Work at once on this machine."
    )
    queues: tuple[str, ...] = Field(
        default=("heavy", "light"), min_length=1, description="Queues this machine works for."
    )
    lease_s: float = Field(
        default=20.0, gt=0, description="Silence after which an item is given to another worker, s."
    )
    beat_s: float = Field(default=5.0, gt=0, description="Time between two signs of life, s.")
    ticket_s: float = Field(
        default=30.0, gt=0, description="Time after which a slot may turn to another shot, s."
    )
    tick_s: float = Field(
        default=0.5, gt=0, description="Time between two looks for work to hand out, s."
    )
    back_off_s: float = Field(
        default=2.0, ge=0, description="Wait after an item's first error, doubled with each, s."
    )
    grace_s: float = Field(
        default=3.0, gt=0, description="Time to stop in before what still runs is killed, s."
    )
    frame_limit_s: float = Field(
        default=1800.0, gt=0, description="Longest time for one frame; then its process is ended."
    )
    shot_limit_s: float = Field(
        default=21600.0, gt=0, description="The same for work on a whole shot, s."
    )
    reserve_mib: int = Field(
        default=1024, ge=0, description="Room kept on disks written to; below it runs wait, MiB."
    )
    keep_mib: int = Field(
        default=8192,
        ge=0,
        description="Most that is kept of the light of a shot's aligned passes, MiB; 0: none.",
    )
    worker_memory_mib: int = Field(
        default=8192, ge=512, description="A slot above this is replaced after its ticket, MiB."
    )
    ballast_mib: int = Field(
        default=64, ge=0, description="Disk space kept for the ledger and freed when full, MiB."
    )
    time_zone: str = Field(default="UTC", description="Time zone of the working hours, IANA name.")

    @field_validator("state_folder")
    @classmethod
    def _whole_state_folder(cls, folder: Path) -> Path:
        """Return the folder as every process finds it, wherever it works."""
        return folder.expanduser().absolute()

    @field_validator("roots", mode="before")
    @classmethod
    def _split_roots(cls, value: Any) -> Any:
        if not isinstance(value, str):
            return value
        pairs = [part.partition("=") for part in value.split(",") if part.strip()]
        return {name.strip(): folder.strip() for name, _, folder in pairs}

    @field_validator("roots")
    @classmethod
    def _check_roots(cls, value: dict[str, Path]) -> dict[str, Path]:
        for name, folder in value.items():
            if not _ROOT.fullmatch(name) or not folder.is_absolute():
                sentence = f"{name}={folder}: a root is a plain word, '=' and an absolute folder"
                raise ValueError(sentence)
        return value

    @field_validator("names", mode="before")
    @classmethod
    def _split_names(cls, value: Any) -> Any:
        if not isinstance(value, str):
            return value
        return tuple(part.strip().lower() for part in value.split(",") if part.strip())

    @field_validator("lan")
    @classmethod
    def _check_lan(cls, value: str) -> str:
        try:
            given = ipaddress.ip_address(value) if value else None
        except ValueError as error:
            raise ValueError(f"{value}: an address is written 192.168.1.20") from error
        if given is not None and (given.is_loopback or given.is_unspecified):
            sentence = f"{value}: not an address other machines can reach this one under"
            raise ValueError(sentence)
        return value

    @field_validator("queues", mode="before")
    @classmethod
    def _split_queues(cls, value: Any) -> Any:
        return tuple(value.split(",")) if isinstance(value, str) else value

    @field_validator("queues")
    @classmethod
    def _check_queues(cls, value: tuple[str, ...]) -> tuple[str, ...]:
        if not set(value) <= set(QUEUE_STAGES):
            raise ValueError(f"{','.join(value)}: known queues are {', '.join(QUEUE_STAGES)}")
        return value

    @field_validator("time_zone")
    @classmethod
    def _check_zone(cls, value: str) -> str:
        try:
            ZoneInfo(value)
        except (ZoneInfoNotFoundError, ValueError) as error:
            raise ValueError(
                f"{value}: no such time zone; an IANA name is Europe/Berlin"
            ) from error
        return value

    @field_validator("broker")
    @classmethod
    def _check_broker(cls, value: str) -> str:
        if value and not value.startswith(("redis://", "rediss://", "unix://")):
            raise ValueError("the broker is redis://, rediss:// or unix://, or empty for our own")
        return value

    @model_validator(mode="after")
    def _check_times(self) -> Self:
        if self.beat_s > self.lease_s / 3:
            sentence = f"beat_s {self.beat_s:g} is above a third of lease_s {self.lease_s:g}"
            raise ValueError(f"{sentence}: one late beat would lose an item")
        if self.tick_s > self.lease_s / 5:
            sentence = f"tick_s {self.tick_s:g} is above a fifth of lease_s {self.lease_s:g}"
            raise ValueError(f"{sentence}: leases could not be watched")
        return self

    @property
    def asks_for_tokens(self) -> bool:
        """Return whether others than this machine can reach the service."""
        if self.lan or self.host == "localhost":
            return bool(self.lan)
        try:
            return not ipaddress.ip_address(self.host).is_loopback
        except ValueError:
            return True

    def environment(self) -> dict[str, str]:
        """Return the variables that make `load_settings` give these settings again.

        The broker's address and the token are left out: secrets travel in files.
        """
        words = {}
        for name in type(self).model_fields:
            value = getattr(self, name)
            if isinstance(value, dict):
                value = ",".join(f"{key}={each}" for key, each in value.items())
            elif isinstance(value, tuple):
                value = ",".join(value)
            words[variable(name)] = str(value)
        for secret in SECRETS:
            del words[variable(secret)]
        return words


def variable(name: str) -> str:
    """Return the environment variable of a setting."""
    return ENVIRONMENT_PREFIX + name.upper()


def load_settings(environment: Mapping[str, str], **given: Any) -> Settings:
    """Return the settings: `given` before environment before file before defaults.

    The file is ``GLIMSUM_SETTINGS``, or ``glimsum.toml`` in the state folder if it is there.

    Raises
    ------
    JobError
        A setting is unknown or has a value it can't have; all of them are named.
    """
    found = _from_environment(environment)
    folder = given.get("state_folder") or found.get("state_folder")
    named = environment.get("GLIMSUM_SETTINGS")
    file = Path(named or Path(folder or state_folder_of(environment)) / SETTINGS_FILE)
    values = {"state_folder": state_folder_of(environment)}
    values |= _from_file(file, required=named is not None) | found
    values |= {name: value for name, value in given.items() if value is not None}
    try:
        return Settings.model_validate(values)
    except ValidationError as error:
        problems = [
            Problem(
                rank=Rank.STOPS_SHOT,
                what=part["msg"],
                place=Place(field=".".join(map(str, part["loc"])) or "settings"),
                seen=repr(part["input"])[:200] if part["loc"] else "",
                remedy=f"Set it in {file}, or by {ENVIRONMENT_PREFIX}NAME in the environment.",
            )
            for part in error.errors()
        ]
        raise JobError("the settings can't be used", problems) from error


def _from_environment(environment: Mapping[str, str]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for name in Settings.model_fields:
        if f"{variable(name)}_FILE" in environment:
            found[name] = _read(Path(environment[f"{variable(name)}_FILE"])).strip()
        if variable(name) in environment:
            found[name] = environment[variable(name)]
    return found


def _from_file(file: Path, *, required: bool) -> dict[str, Any]:
    if not required and not file.is_file():
        return {}
    try:
        return tomllib.loads(_read(file))
    except tomllib.TOMLDecodeError as error:
        raise _unusable(file, f"the settings file is not TOML: {error}") from error


def _read(file: Path) -> str:
    try:
        return file.read_text(encoding="utf-8")
    except OSError as error:
        raise _unusable(file, f"a settings file can't be read: {error.strerror}") from error


def _unusable(file: Path, what: str) -> JobError:
    problem = Problem(rank=Rank.STOPS_SHOT, what=what, place=Place(file=str(file)))
    return JobError("the settings can't be used", [problem])
