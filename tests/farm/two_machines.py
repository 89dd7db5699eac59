"""Two machines on one computer: network namespaces with addresses of their own, and a cable."""

import os
import shutil
import subprocess
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from secrets import token_hex
from typing import Any

import pytest


def _run(*words: str) -> None:
    subprocess.run(words, check=True, capture_output=True)


@dataclass(frozen=True)
class TwoMachines:
    """The names of the namespaces; the first machine's cable end is the one that is pulled."""

    first: str
    second: str
    address: str
    other_address: str
    cable: str

    def start(
        self, where: str, words: Sequence[str], environment: Mapping[str, str], **more: Any
    ) -> "subprocess.Popen[str]":
        """Start a program on one of the machines."""
        return subprocess.Popen(
            ["ip", "netns", "exec", where, *words], env=dict(environment), text=True, **more
        )

    def cut(self) -> None:
        """Pull the cable: what is sent is lost, nobody is told."""
        _run("ip", "-n", self.first, "link", "set", self.cable, "down")

    def heal(self) -> None:
        """Plug the cable in again."""
        _run("ip", "-n", self.first, "link", "set", self.cable, "up")


@contextmanager
def two_machines() -> Iterator[TwoMachines]:
    """Make the machines and take them away again; skip where that is not allowed."""
    mark = token_hex(2)
    made = TwoMachines(f"gl1_{mark}", f"gl2_{mark}", "10.213.7.1", "10.213.7.2", f"gc1{mark}")
    other = f"gc2{mark}"
    if os.geteuid() != 0 or shutil.which("ip") is None:
        pytest.skip("two machines are made of network namespaces: root and the command ip needed")
    try:
        _run("ip", "netns", "add", made.first)
        _run("ip", "netns", "add", made.second)
        _run(
            *f"ip link add {made.cable} netns {made.first} type veth".split(),
            "peer",
            "name",
            other,
            "netns",
            made.second,
        )
    except subprocess.CalledProcessError as error:
        _remove(made)
        pytest.skip(f"no network namespaces here: {error.stderr.decode().strip()}")
    try:
        for space, end, address in (
            (made.first, made.cable, made.address),
            (made.second, other, made.other_address),
        ):
            _run("ip", "-n", space, "address", "add", f"{address}/24", "dev", end)
            _run("ip", "-n", space, "link", "set", end, "up")
            _run("ip", "-n", space, "link", "set", "lo", "up")
        yield made
    finally:
        _remove(made)


def _remove(made: TwoMachines) -> None:
    for space in (made.first, made.second):
        subprocess.run(["ip", "netns", "delete", space], check=False, capture_output=True)
