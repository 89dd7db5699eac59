"""Who may join: the same program, and the same folders by the same names."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import redis

from glimsum_jobs.errors import StoreError
from glimsum_jobs.orders import RunOrder
from glimsum_jobs.shot import ShotJob
from glimsum_services.joining import Gate, Joining, Maker
from glimsum_services.root_markers import MARKER, make_marker, read_marker
from glimsum_services.store.joined import Joined
from glimsum_services.store.ledger import RedisLedger
from glimsum_services.store.shots import Shots
from support.api_work import SHOT
from support.server import running_server

RUN = "mole_040/v001"
OURS = Maker("0.4.2", 3)


@pytest.fixture(scope="module")
def server() -> Iterator[redis.Redis]:
    with running_server() as (client, _):
        yield client


@pytest.fixture
def client(server: redis.Redis) -> redis.Redis:
    server.flushall()
    return server


class Machine:
    """A machine with folders of its own."""

    def __init__(self, client: redis.Redis, folder: Path, *names: str, **given: Any) -> None:
        self.roots = {name: folder / name for name in names or ("plates", "out")}
        for each in self.roots.values():
            each.mkdir(parents=True, exist_ok=True)
        self.joined = Joined(client)
        self.ledger = RedisLedger(client)
        self.shots = Shots(client)
        given = {"maker": OURS} | given
        self.joining = Joining(self.joined, self.ledger, self.shots, roots=self.roots, **given)

    def submit(self) -> None:
        order = RunOrder(
            run=RUN,
            shot="mole_040",
            version=1,
            job=ShotJob.model_validate(SHOT),
            job_digest="0" * 64,
            folder="out:mole_040/v001",
            made="2026-11-25T19:00:00Z",
        )
        self.shots.keep(order, "text")
        self.ledger.open(RUN)


@pytest.fixture
def first(client: redis.Redis, tmp_path: Path) -> Machine:
    machine = Machine(client, tmp_path / "first")
    machine.joining.join()
    return machine


def carry(first: Machine, second: Machine) -> None:
    """Make the second machine's folders the first one's, as a mount does."""
    for name, folder in second.roots.items():
        (folder / MARKER).write_bytes((first.roots[name] / MARKER).read_bytes())


def test_the_first_machine_marks_its_roots_and_one_that_mounts_them_joins(
    client: redis.Redis, first: Machine, tmp_path: Path
) -> None:
    ids = {name: read_marker(folder) for name, folder in first.roots.items()}
    assert len(set(ids.values()) - {None}) == 2
    second = Machine(client, tmp_path / "second")
    carry(first, second)
    second.joining.join()
    first.submit()
    assert second.joining.refusal(RUN) is None
    assert {name: read_marker(folder) for name, folder in first.roots.items()} == ids


def test_an_empty_mount_point_is_refused_in_words(
    client: redis.Redis, first: Machine, tmp_path: Path
) -> None:
    second = Machine(client, tmp_path / "second", "plates")
    expected = read_marker(first.roots["plates"])
    words = rf"root plates is not the folder.*no file {MARKER}: not mounted.*expected.*{expected}"
    with pytest.raises(StoreError, match=words):
        second.joining.join()
    assert list(second.roots["plates"].iterdir()) == []


def test_another_folder_of_the_same_name_is_refused(
    client: redis.Redis, first: Machine, tmp_path: Path
) -> None:
    second = Machine(client, tmp_path / "second", "plates")
    other = make_marker(second.roots["plates"])
    with pytest.raises(StoreError, match=rf"root plates.*seen: marker {other}"):
        second.joining.join()


def test_a_root_that_is_not_there_is_refused_with_its_folder(
    client: redis.Redis, tmp_path: Path
) -> None:
    machine = Machine(client, tmp_path)
    machine.roots["plates"].rmdir()
    with pytest.raises(StoreError, match=r"root plates can't be opened.*plates.*No such file"):
        machine.joining.join()


def test_a_root_that_goes_away_stops_tickets_until_it_is_back(first: Machine) -> None:
    first.submit()
    assert first.joining.refusal(RUN) is None
    marker = (first.roots["plates"] / MARKER).read_bytes()
    (first.roots["plates"] / MARKER).unlink()
    reason = first.joining.refusal(RUN) or ""
    assert "the root plates is not the folder it is elsewhere" in reason
    (first.roots["plates"] / MARKER).write_bytes(marker)
    assert first.joining.refusal(RUN) is None


def test_a_machine_without_a_root_leaves_the_runs_that_need_it(
    client: redis.Redis, first: Machine, tmp_path: Path
) -> None:
    first.submit()
    second = Machine(client, tmp_path / "second", "out")
    carry(first, second)
    second.joining.join()
    gate = Gate(second.joining, second.joined, "second", rest_s=0.0)
    assert gate.admits(RUN) is False
    assert first.joined.declined(RUN) == {
        "second": "it has no root plates; add --root plates=FOLDER there"
    }
    assert Gate(first.joining, first.joined, "first").admits(RUN) is True


@pytest.mark.parametrize(
    ("maker", "joins"),
    [
        (Maker("0.4.2", 3), True),
        (Maker("0.4.9", 3), True),
        (Maker("0.5.0", 3), False),
        (Maker("0.4.2", 4), False),
    ],
)
def test_another_program_or_pixel_epoch_can_not_go_on_with_a_run(
    client: redis.Redis, first: Machine, tmp_path: Path, maker: Maker, *, joins: bool
) -> None:
    first.submit()
    second = Machine(client, tmp_path / "second", maker=maker)
    carry(first, second)
    second.joining.join()  # nothing is begun yet: whoever begins decides
    assert first.joining.refusal(RUN) is None
    late = second.joining.refusal(RUN)
    assert (late is None) == joins
    if not joins:
        words = rf"{RUN} was begun by another version.*this machine: {maker}.*expected: {OURS}"
        with pytest.raises(StoreError, match=words):
            second.joining.join()


def test_home_may_name_its_folder_anew_when_no_open_run_needs_it(
    client: redis.Redis, first: Machine, tmp_path: Path
) -> None:
    first.submit()
    moved = Machine(client, tmp_path / "moved", home=True)
    with pytest.raises(StoreError, match=r"not the folder it is elsewhere"):
        moved.joining.join()
    first.ledger.end(RUN, _cancelled())
    moved.joining.join()
    assert Joined(client).roots()["plates"].id == read_marker(moved.roots["plates"])


def _cancelled() -> Any:
    from glimsum_jobs.ledger import RunState

    return RunState.CANCELLED


def test_a_folder_nobody_may_write_is_taken_as_it_is(
    client: redis.Redis, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from glimsum_services import joining

    monkeypatch.setattr(joining, "make_marker", lambda _: None)
    machine = Machine(client, tmp_path)
    machine.joining.join()
    assert Joined(client).roots()["plates"].id == ""
    machine.submit()
    assert machine.joining.refusal(RUN) is None


def test_two_that_mark_a_root_at_once_agree(tmp_path: Path) -> None:
    from concurrent.futures import ThreadPoolExecutor

    with ThreadPoolExecutor(8) as pool:
        found = set(pool.map(lambda _: make_marker(tmp_path), range(32)))
    assert len(found) == 1
    assert [each.name for each in tmp_path.iterdir()] == [MARKER]
