"""Requests that mean harm: paths that lead out, bodies that swell, and whom they cost what."""

import json
import resource
import threading
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import httpx
import pytest

from glimsum_jobs.errors import GlimsumError
from glimsum_jobs.paths import RootPath
from glimsum_services.folders import make_version_folder, open_file
from support.api_server import Running, running_service
from support.api_work import SHOT
from unit.services.api.test_error_shape import hold_shape

YAML = {"Content-Type": "application/yaml"}

PATHS = [
    "../secret",
    "plates:../secret",
    "plates:a/../../secret",
    "plates:/etc/passwd",
    "/etc/passwd",
    "plates:a/./b",
    "plates:a//b",
    "plates:a\\..\\..\\secret",
    "plates:a\u0000.png",
    "plates:a\n.png",
    "file:///etc/passwd",
    "plates:~/secret",
    "nowhere:a.png",
]
"""Thirteen ways out of a root, or to somewhere else."""


@pytest.fixture(scope="module")
def running(broker: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    """Start one service for all of them: what is refused leaves nothing behind."""
    with running_service(broker, tmp_path_factory.mktemp("attacked")) as service:
        yield service


def peak_mib() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024  # KiB on Linux, getrusage(2)


@pytest.fixture
def cheap() -> Iterator[None]:
    """Hold what a refusal costs: below five seconds and 256 MiB on a busy machine."""
    begun, before = time.monotonic(), peak_mib()
    yield
    assert time.monotonic() - begun < 5
    assert peak_mib() - before < 256


def outside(folder: Path) -> set[str]:
    """Return what stands beside the roots."""
    return {path.name for path in folder.iterdir()}


@pytest.mark.parametrize("path", PATHS)
def test_no_path_leads_out_of_its_root(running: Running, path: str) -> None:
    folder = running.work.out.parent
    (folder / "secret").write_text("outside")
    before = outside(folder)
    if path not in ("plates:~/secret", "nowhere:a.png"):  # a plain name, and one the check refuses
        passes = SHOT["passes"] | {"beauty": SHOT["passes"]["beauty"] | {"files": path}}
        hold_shape(running.http.post("/shots", json=SHOT | {"passes": passes}), 422)
    if path != "plates:~/secret":
        hold_shape(running.http.post("/shots", json=SHOT | {"output": path}), 422)
    assert running.http.get("/shots").json()["shots"] == []
    assert outside(folder) == before


def test_an_output_behind_a_link_is_refused_and_nothing_is_made_there(
    running: Running, tmp_path: Path
) -> None:
    link = running.work.out / "mole_040"
    link.symlink_to(tmp_path)
    hold_shape(running.http.post("/shots", json=SHOT), 422)
    link.unlink()
    assert list(tmp_path.iterdir()) == []


def test_no_race_with_a_swapped_output_makes_a_folder_outside(tmp_path: Path) -> None:
    # Common practice, no source: checking a path and then using it can be raced.
    out, elsewhere = tmp_path / "out", tmp_path / "elsewhere"
    (out / "shot").mkdir(parents=True)
    elsewhere.mkdir()
    stop = threading.Event()

    def swap() -> None:
        number = 0
        while not stop.is_set():
            number += 1
            with suppress(OSError):  # the folder is made anew between two of these lines
                (out / "shot").rename(out / f"kept_{number}")
                (out / "shot").symlink_to(elsewhere)
                time.sleep(0.0005)
                (out / "shot").unlink()
                (out / "shot").mkdir()

    thread = threading.Thread(target=swap)
    thread.start()
    made = refused = 0
    until = time.monotonic() + 1
    try:
        while time.monotonic() < until:
            try:
                make_version_folder({"out": out}, RootPath("out", "shot"), 0)
                made += 1
            except GlimsumError:
                refused += 1
    finally:
        stop.set()
        thread.join()
    assert list(elsewhere.iterdir()) == []
    assert made > 0
    assert refused > 0


def test_a_preview_is_never_read_through_a_link(tmp_path: Path) -> None:
    (tmp_path / "secret.jpg").write_bytes(b"outside")
    (tmp_path / "out" / "v001").mkdir(parents=True)
    (tmp_path / "out" / "v001" / "a.jpg").symlink_to(tmp_path / "secret.jpg")
    with pytest.raises(GlimsumError):
        open_file({"out": tmp_path / "out"}, RootPath("out", "v001"), "a.jpg")


@pytest.mark.usefixtures("cheap")
def test_a_job_of_ten_mebibytes_is_refused(running: Running) -> None:
    # A job that would be sound if it were not for its size: all of it is one long note.
    text = json.dumps(SHOT)[:-1] + ', "note": "' + "x" * (10 * 1024 * 1024) + '"}'
    headers = {"Content-Type": "application/json"}
    with suppress(httpx.WriteError, httpx.ReadError):  # closed before all of it was sent: refused
        hold_shape(running.http.post("/shots", content=text, headers=headers), 413)
    assert running.http.get("/shots").json()["shots"] == []


def nested(levels: int) -> str:
    return "a: " + "[" * levels + "]" * levels


def exploding(levels: int) -> str:
    """Return a text that aliases blow up to 10 to the power of `levels` values."""
    lines = ["a0: &a0 [x, x, x, x, x, x, x, x, x, x]"]
    for level in range(1, levels):
        again = ", ".join([f"*a{level - 1}"] * 10)
        lines.append(f"a{level}: &a{level} [{again}]")
    return "\n".join(lines)


@pytest.mark.usefixtures("cheap")
@pytest.mark.parametrize(
    ("text", "words"),
    [
        (nested(30_000), "nested too deeply"),
        (exploding(9), "too many values"),
        ("a: &a [*a]", "called &a"),
        ("*" + "a" * 120_000, "called &aaa"),
        ("? {x: y}\n: z", "not a word"),
        ("a: !!python/object/apply:os.system ['true']", "carries a tag"),
        ("a: " + "9" * 10_000, "number"),
        ("- " * 60_000, "nested too deeply"),
        ("!" + "a" * 1_900_000, "line is too long"),
        ("!" + "a" * 120_000, "carries a tag"),
    ],
)
@pytest.mark.parametrize("address", ["/shots", "/sequences"])
def test_a_text_that_swells_is_refused_in_words(
    running: Running, address: str, text: str, words: str
) -> None:
    answer = running.http.post(address, content=text, headers=YAML)
    assert words in hold_shape(answer, 422).errors[0].what
    assert len(answer.content) < 4096


@pytest.mark.usefixtures("cheap")
def test_deep_json_is_refused_in_words(running: Running) -> None:
    headers = {"Content-Type": "application/json"}
    for text in ("[" * 200_000, '{"a":' * 100_000):
        hold_shape(running.http.post("/shots", content=text, headers=headers), 422)
    wanted = b'{"state":' * 100_000
    address = "/shots/mole_040/versions/1/control"
    answer = running.http.put(address, content=wanted, headers=headers | {"If-Match": "*"})
    assert answer.status_code in (400, 422)
    hold_shape(answer, answer.status_code)


@pytest.mark.parametrize(
    "host", ["evil.example", "", "127.0.0.1.evil.example", "evil.example:8470", "[::1", "127.0.0.2"]
)
def test_a_wrong_host_is_refused(running: Running, host: str) -> None:
    for address in ("/shots", "/healthz", "/"):
        answer = running.http.get(address, headers={"Host": host})
        assert answer.status_code in (400, 403)
    right = running.http.get("/shots", headers={"Host": "localhost:9999"})
    assert right.status_code == 200


def test_a_form_of_another_site_can_not_submit(running: Running) -> None:
    # Browsers send these three kinds without asking first (Fetch Standard, 2.2.2, CORS-safelisted).
    for kind in ("text/plain", "application/x-www-form-urlencoded", "multipart/form-data"):
        headers = {"Content-Type": kind}
        answer = running.http.post("/shots", content=json.dumps(SHOT), headers=headers)
        hold_shape(answer, 415)


def test_lists_are_bounded_whatever_is_asked(running: Running) -> None:
    jobs: list[dict[str, Any]] = [
        SHOT | {"shot": f"s_{number}", "output": f"out:s_{number}"} for number in range(501)
    ]
    hold_shape(running.http.post("/shots", json={"jobs": jobs}), 422)
    for address in ("/shots?limit=201", "/shots?limit=0", "/shots?limit=-1", "/shots?limit=x"):
        hold_shape(running.http.get(address), 422)
