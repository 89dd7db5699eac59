import pytest
import redis

from glimsum_jobs.errors import StoreError
from glimsum_jobs.orders import RunOrder, run_name
from glimsum_jobs.shot import ShotJob
from glimsum_services.store.shots import Shots

TEXT = "glimsum: 1  # as it was written"


def order(shot: str = "mole_040", version: int = 1, digest: str = "d1") -> RunOrder:
    job = {
        "glimsum": 1,
        "shot": shot,
        "rate": 24,
        "camera": "locked",
        "frames": {"first": 1001, "last": 1003},
        "passes": {
            "beauty": {
                "files": "plates:beauty.%04d.exr",
                "space": "lin_ap1_scene",
                "exposure": {"stops": 0},
            }
        },
        "recipe": [{"pass": "beauty", "stops": [{"frame": 1001, "value": "out"}]}],
        "output": "out:mole_040",
    }
    return RunOrder(
        run=run_name(shot, version),
        shot=shot,
        version=version,
        job=ShotJob.model_validate(job),
        job_digest=digest,
        folder=f"out:{shot}/v{version:03d}",
        made="2026-11-25T20:00:00Z",
    )


def test_an_order_comes_back_as_it_was_kept(server: redis.Redis) -> None:
    assert Shots(server).keep(order(), TEXT)

    assert Shots(server).order("mole_040/v001") == order()
    assert Shots(server).job_text("d1") == TEXT


def test_a_version_is_kept_once(server: redis.Redis) -> None:
    shots = Shots(server)
    shots.keep(order(), TEXT)

    assert not shots.keep(order(digest="d2"), "other")
    assert Shots(server).order("mole_040/v001").job_digest == "d1"


def test_the_same_job_finds_its_newest_version(server: redis.Redis) -> None:
    shots = Shots(server)
    for version, digest in ((1, "d1"), (2, "d2"), (3, "d1")):
        shots.keep(order(version=version, digest=digest), TEXT)

    found = shots.find_version("mole_040", "d1")

    assert found is not None
    assert found.version == 3
    assert shots.find_version("mole_040", "d9") is None
    assert shots.versions("mole_040") == [1, 2, 3]
    assert shots.versions("nobody") == []


@pytest.mark.parametrize("run", ["nobody/v001", "mole_040/v002", "mole_040/vx", "mole_040"])
def test_an_unknown_order_is_said_with_its_name(server: redis.Redis, run: str) -> None:
    Shots(server).keep(order(), TEXT)

    with pytest.raises(StoreError, match=f"no order is kept for {run}"):
        Shots(server).order(run)


def test_shots_are_listed_newest_first_page_by_page(server: redis.Redis) -> None:
    shots = Shots(server)
    for number in range(5):
        shots.keep(order(shot=f"mole_{number}"), TEXT)

    first = shots.list_shots(limit=2)
    second = shots.list_shots(after=first.after, limit=2)
    third = shots.list_shots(after=second.after, limit=2)

    assert [first.names, second.names, third.names] == [
        ("mole_4", "mole_3"),
        ("mole_2", "mole_1"),
        ("mole_0",),
    ]
    assert third.after is None


def test_a_sequence_keeps_its_runs_in_their_order(server: redis.Redis) -> None:
    shots = Shots(server)
    shots.keep_sequence("harbour", ["b/v001", "a/v002"])
    shots.keep_sequence("empty", [])

    assert shots.sequence("harbour") == ["b/v001", "a/v002"]
    assert shots.sequence("empty") == []
    assert shots.sequence("nobody") is None
    assert shots.list_sequences().names == ("empty", "harbour")
