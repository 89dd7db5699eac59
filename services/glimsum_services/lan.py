"""Our own server opened to the home network: a port, a user of its own, and the line to join by."""

import hashlib
import ipaddress
import os
import shlex
import socket
from collections.abc import Sequence
from pathlib import Path
from secrets import token_hex

from glimsum_jobs.errors import StoreError
from glimsum_jobs.problems import Place
from glimsum_services.store.keys import PREFIX

USER = "worker"

COMMANDS = (
    "-@all +@read +@write +@connection +@transaction +@pubsub +time "
    "+eval +evalsha +script|load +script|exists "
    "-@dangerous -@blocking +brpop +xread"
)
"""What a worker sends; nothing that names, empties, copies or stops the server.

Of keys it sees ours alone. Of channels all: a pattern that is subscribed to is held against the
rule letter by letter, and the queue's library makes up its patterns.
"""

LINES = """\
port {port}
bind {address}
tcp-keepalive 10
user {user} on #{digest} ~{prefix}* &* {commands}
"""


class OpenPort:
    """What other machines need to reach our own server.

    The password is made once and kept, so that they join again after a restart. Nothing is
    encrypted on the way: for a network at home, never for the internet.

    Parameters
    ----------
    folder : Path
        Private folder of the server.
    address : str
        Address of this machine in the home network.
    port : int
        Port to open there.
    """

    def __init__(self, folder: Path, address: str, port: int) -> None:
        self._address = address
        self._port = port
        file = folder / "lan_password"
        try:
            descriptor = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        except FileExistsError:
            pass
        else:
            with os.fdopen(descriptor, "w", encoding="ascii") as out:
                out.write(token_hex(32))
        self._password = file.read_text(encoding="ascii").strip()
        self.line_file = folder / "lan_line"

    @property
    def configuration(self) -> str:
        """Return the lines of the server's configuration, without the password itself."""
        digest = hashlib.sha256(self._password.encode()).hexdigest()
        return LINES.format(
            port=self._port,
            address=self._address,
            user=USER,
            digest=digest,
            prefix=PREFIX,
            commands=COMMANDS,
        )

    @property
    def url(self) -> str:
        """Return the address with its password; for a private file or memory only."""
        return f"redis://{USER}:{self._password}@{_bracketed(self._address)}:{self._port}/0"

    def write_line(self, roots: Sequence[str]) -> str:
        """Write the line for other machines into a private file, and return it.

        The password goes into a private file there too: in no argument of a program and in no
        variable that other people's programs could see.
        """
        folders = "".join(f" --root {name}=FOLDER" for name in sorted(roots))
        keep = f"(umask 077; printf %s {shlex.quote(self.url)} > ~/.glimsum_broker)"
        line = f"{keep}; GLIMSUM_BROKER_FILE=~/.glimsum_broker glimsum worker{folders}"
        descriptor = os.open(self.line_file, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(descriptor, "w", encoding="utf-8") as out:
            out.write(f"{line}\n")
        return line


def _bracketed(address: str) -> str:
    return f"[{address}]" if ipaddress.ip_address(address).version == 6 else address


def probe(address: str, port: int) -> None:
    """Make sure that the port can be opened.

    Raises
    ------
    StoreError
        The address is not this machine's, or the port is in use.
    """
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as trial:
        trial.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            trial.bind((address, port))
        except OSError as error:
            raise StoreError(
                "queue and ledger can't be opened to the network at this address",
                place=Place(field="--lan"),
                seen=f"{address}:{port}: {error.strerror}",
                expected="an address of this machine and a free port",
                remedy="Look the address up with `ip address`; another port: GLIMSUM_LAN_PORT.",
            ) from error
