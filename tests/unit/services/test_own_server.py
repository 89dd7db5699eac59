import os
import stat
from pathlib import Path

import pytest

from glimsum_jobs.errors import StoreError
from glimsum_services.own_server import OwnServer


def mode(file: Path) -> int:
    return stat.S_IMODE(file.stat().st_mode)


def test_nobody_else_can_read_password_configuration_or_address(tmp_path: Path) -> None:
    before = os.umask(0)
    try:
        server = OwnServer(tmp_path, 0)
        address = server.write_url()
    finally:
        os.umask(before)

    assert mode(server.folder) == 0o700
    for file in (server.folder / "password", server.configuration, address):
        assert mode(file) == 0o600, file
    assert len(server.password) == 64
    server.close()


def test_the_server_writes_every_change_and_throws_nothing_away(tmp_path: Path) -> None:
    server = OwnServer(tmp_path, 0)
    lines = server.configuration.read_text().splitlines()
    server.close()

    assert {"port 0", "appendonly yes", "appendfsync always"} <= set(lines)
    assert "maxmemory-policy noeviction" in lines
    assert f"requirepass {server.password}" in lines
    assert server.password not in " ".join(server.command)


def test_the_password_stays_from_start_to_start(tmp_path: Path) -> None:
    first = OwnServer(tmp_path, 0)
    first.close()
    second = OwnServer(tmp_path, 0)
    second.close()

    assert first.password == second.password


def test_one_service_a_folder(tmp_path: Path) -> None:
    first = OwnServer(tmp_path, 0)

    with pytest.raises(StoreError, match=rf"another service.*seen: process {os.getpid()}"):
        OwnServer(tmp_path, 0)

    first.close()
    OwnServer(tmp_path, 0).close()


def test_a_socket_path_that_is_too_long_moves_to_a_private_folder(tmp_path: Path) -> None:
    deep = tmp_path / ("a" * 100)
    server = OwnServer(deep, 0)

    # unix(7): sun_path holds 108 bytes with the terminating zero
    assert len(os.fsencode(server.socket)) < 108
    assert mode(server.socket.parent) == 0o700
    server.close()
    assert not server.socket.parent.exists()


def test_ballast_is_taken_when_there_is_room_and_freed_only_when_the_disk_is_full(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    server = OwnServer(tmp_path, 2)
    ballast = server.folder / "ballast"
    assert ballast.stat().st_blocks * 512 >= 2 * 1024 * 1024
    assert not server.drop_ballast()

    class Full:
        free = 4096

    monkeypatch.setattr("shutil.disk_usage", lambda _: Full)
    assert server.drop_ballast()
    assert not ballast.exists()
    assert not server.store_ballast()
    server.close()
