"""A server with TLS carries ledger and queue, and one that nobody vouches for is refused."""

import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from socket import socket
from typing import Any

import pytest
from kombu.exceptions import OperationalError

from farm.conftest import Floor, wait_until
from farm.work_for_tests import FOLDER
from glimsum_jobs.errors import StoreError
from glimsum_jobs.ledger import RunState
from glimsum_services.celery_app import make_app
from glimsum_services.connections import open_connections
from support.service import PYTHONPATH, TESTS, quick_settings

pytestmark = pytest.mark.farm

PASSWORD = "only-for-this-test"


def make_certificates(folder: Path) -> None:
    """Make an authority of our own and a server it vouches for, as RFC 5280 has them."""

    def openssl(*words: str) -> None:
        subprocess.run(["openssl", *words], cwd=folder, check=True, capture_output=True)

    (folder / "names").write_text("subjectAltName=DNS:localhost,IP:127.0.0.1\n")
    new = ("-newkey", "rsa:2048", "-nodes")
    openssl("req", "-x509", *new, "-keyout", "ca.key", "-out", "ca.crt", "-subj", "/CN=authority")
    openssl("req", *new, "-keyout", "s.key", "-out", "s.csr", "-subj", "/CN=localhost")
    signed = ("-CA", "ca.crt", "-CAkey", "ca.key", "-CAcreateserial", "-extfile", "names")
    openssl("x509", "-req", "-in", "s.csr", *signed, "-out", "s.crt", "-days", "2")


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    program = shutil.which("valkey-server") or shutil.which("redis-server")
    if program is None or shutil.which("openssl") is None:
        pytest.skip("needs a valkey-server or redis-server with TLS, and openssl")
    folder = tmp_path_factory.mktemp("tls")
    make_certificates(folder)
    with socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    words = ["--port", "0", "--tls-port", str(port), "--tls-auth-clients", "no"]
    words += ["--tls-cert-file", "s.crt", "--tls-key-file", "s.key", "--tls-ca-cert-file", "ca.crt"]
    words += ["--requirepass", PASSWORD, "--appendonly", "yes", "--dir", str(folder)]
    with (folder / "log").open("w") as log:
        server = subprocess.Popen([program, *words], cwd=folder, stdout=log, stderr=log)
    try:
        wait_until(lambda: "Ready to accept" in (folder / "log").read_text(), 10, "it is up")
        yield f"rediss://:{PASSWORD}@localhost:{port}/0?ssl_ca_certs={folder / 'ca.crt'}"
    finally:
        server.terminate()
        server.wait(10)


def test_a_worker_works_over_an_encrypted_line(address: str, tmp_path: Path) -> None:
    settings = quick_settings(tmp_path, broker=address)
    (tmp_path / "address").write_text(address)
    environment = {name: value for name, value in os.environ.items() if "GLIMSUM" not in name}
    environment |= settings.environment() | {"PYTHONPATH": PYTHONPATH, FOLDER: str(tmp_path)}
    environment["GLIMSUM_BROKER_FILE"] = str(tmp_path / "address")
    link = open_connections(settings)
    words = [sys.executable, str(TESTS / "farm" / "work_for_tests.py")]
    with (tmp_path / "words").open("w") as said:
        worker = subprocess.Popen(words, env=environment, stdout=said, stderr=said)
    try:
        floor = Floor(tmp_path, settings, None, link)  # type: ignore[arg-type]  # no service here
        floor.submit("night/v001", frames=6, seconds=0.1)
        assert floor.wait_for_end("night/v001").state is RunState.DONE
    finally:
        worker.terminate()
        worker.wait(15)
        link.client.close()
    assert PASSWORD not in (tmp_path / "words").read_text()


def test_a_server_nobody_vouches_for_is_refused_by_ledger_and_queue(
    address: str, tmp_path: Path
) -> None:
    stranger: dict[str, Any] = {"broker": address.partition("?")[0]}
    settings = quick_settings(tmp_path, **stranger)
    with pytest.raises(StoreError, match=r"certificate verify failed"):
        open_connections(settings, patience_s=0.5)
    with (
        pytest.raises(OperationalError, match=r"certificate verify failed"),
        make_app(settings).connection_for_write() as line,
    ):
        line.ensure_connection(max_retries=1)
