"""A wedge as a worker makes it: of what its version was found to be, whole or not at all."""

from collections.abc import Callable
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest

from glimsum_jobs.errors import LeaseLost
from glimsum_jobs.ledger import Claim, Control, Finish, Stage
from glimsum_jobs.measurements import Wedged
from glimsum_jobs.orders import WedgeOrder, wedge_name
from glimsum_jobs.varied import Varied
from glimsum_jobs.wedges import Wedge
from glimsum_workers.light.kept_passes import LightRoom
from glimsum_workers.looking import wedge_shot
from glimsum_workers.perform import Performer
from glimsum_workers.run.sweep import sweep_run
from support.reuse_shot import BASE, SIZE, write_plates
from support.run_here import HereRun, open_run, run_here, work_through
from support.small_shots import small_roots, small_shot

ROOM = LightRoom(budget_bytes=1 << 30, reserve_bytes=0)


@pytest.fixture
def plates(tmp_path: Path) -> Path:
    return write_plates(tmp_path)


def order_of(run: HereRun, **changes: Any) -> WedgeOrder:
    given = {
        "run": wedge_name("small", 1),
        "shot": "small",
        "wedge": 1,
        "version": 1,
        "job": run.order.job,
        "job_digest": run.order.job_digest,
        "varied": (Varied(name="key", values=(-1.0, 0.0, 1.0)),),
        "frames": (1001, 1003),
        "width": 64,
        "folder": "out:small/wedges/w001",
        "made": run.order.made,
    }
    order = WedgeOrder.model_validate(given | changes)
    run.ledger.open(order.run, priority=100, stage=Stage.WEDGE)
    return order


def claim_of(run: HereRun, order: WedgeOrder) -> Claim:
    claim = run.ledger.claim("here/1", order.run)
    assert claim is not None
    return claim


def going_on() -> Control:
    return Control.RUN


def make(
    run: HereRun, order: WedgeOrder, claim: Claim, mine: Callable[[], Control] = going_on
) -> Wedged:
    left = Performer(run.ledger, run.roots, "here", ROOM)(order, claim, mine)
    return Wedged.model_validate(left)


def test_a_measured_version_is_not_checked_again_and_the_sheet_is_the_same(
    plates: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    run = run_here(small_shot(**BASE), small_roots(plates))
    order = order_of(run)
    with monkeypatch.context() as patch:
        patch.setattr(wedge_shot, "open_bench", lambda *_: pytest.fail("it was checked again"))
        made = make(run, order, claim := claim_of(run, order))

    folder = plates / "out" / "small" / "wedges" / "w001"
    assert made.sheet == "small_w001.jpg"
    assert made.digest == sha256((folder / "small_w001.jpg").read_bytes()).hexdigest()
    assert made.bytes == (folder / "small_w001.jpg").stat().st_size
    wedge = Wedge.model_validate_json((folder / "small_w001.json").read_bytes())
    assert (wedge.job, wedge.version, len(wedge.cells)) == ("small/v001", 1, 3)
    assert list((plates / "out" / "small" / "kept").iterdir())
    result = made.model_dump(mode="json")
    assert run.ledger.done(claim, result) is Finish.RECORDED
    # A second worker that was slow makes the same file, and harms nothing.
    late = make(run, order, claim.model_copy(update={"token": claim.token + 1}))
    assert late.digest == made.digest
    assert run.ledger.done(claim, late.model_dump(mode="json")) is Finish.RECORDED


def test_a_version_that_was_never_measured_is_checked_and_measured_here(plates: Path) -> None:
    measured = run_here(small_shot(**BASE), small_roots(plates))
    order = order_of(measured)
    expected = make(measured, order, claim_of(measured, order)).digest
    run = open_run(small_shot(**BASE), small_roots(plates), version=2)

    order = order_of(run, version=2)

    assert make(run, order, claim_of(run, order)).digest == expected


def test_what_the_check_refuses_is_told_and_not_tried_again(plates: Path) -> None:
    run = open_run(small_shot(**BASE), small_roots(plates))
    for path in (plates / "key").iterdir():
        path.unlink()
    order = order_of(run)

    made = make(run, order, claim_of(run, order))

    assert (made.sheet, made.digest, made.bytes) == (None, "", 0)
    assert any(each.place.pass_name == "key" for each in made.problems)
    assert not list((plates / "out" / "small" / "wedges" / "w001").glob("*.jpg"))


def test_a_sheet_that_is_too_large_is_refused_before_a_picture_is_made(
    plates: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    run = run_here(small_shot(**BASE), small_roots(plates))
    monkeypatch.setattr(wedge_shot, "LARGEST_SIDE_PX", 200)
    monkeypatch.setattr(wedge_shot, "_draw", lambda *_: pytest.fail("a picture was made"))
    order = order_of(run, width=SIZE[1])

    [problem] = make(run, order, claim_of(run, order)).problems

    width, height = 12 + 3 * (SIZE[1] + 12), 36 + 2 * (SIZE[0] + 24 + 12)
    assert problem.what == "the sheet would be too large"
    assert problem.seen.startswith(f"{width} x {height} pixels, 6 pictures")
    assert problem.expected == "200 a side at most"


@pytest.mark.parametrize("lost_at", [1, 4, 7, 8])
def test_a_lease_lost_on_the_way_leaves_nothing_half_written(plates: Path, lost_at: int) -> None:
    # Six pictures, then the sheet and its JSON: asked before each.
    run = run_here(small_shot(**BASE), small_roots(plates))
    order, asked = order_of(run), []

    def mine() -> Control:
        asked.append(1)
        if len(asked) == lost_at:
            raise LeaseLost("another holds it")
        return Control.RUN

    with pytest.raises(LeaseLost, match="another holds it"):
        make(run, order, claim_of(run, order), mine)

    found = [path.name for path in (plates / "out" / "small" / "wedges" / "w001").iterdir()]
    assert found == (["small_w001.jpg"] if lost_at == 8 else [])


def test_what_a_killed_worker_left_of_a_wedge_is_swept(plates: Path) -> None:
    run = work_through(open_run(small_shot(**BASE), small_roots(plates)), until=Stage.COMBINE)
    order = order_of(run)
    folder = run.roots.make_folder(order.kept.folder.child("wedges").child("w001"))
    for name in (".small_w001.jpg.7.part", ".small_w001.jpg.8.part"):
        (folder / name).write_bytes(b"half")

    assert sweep_run(order, run.roots, [8], lease_s=-1, longest_s=-1) == 1
    assert [path.name for path in folder.iterdir()] == [".small_w001.jpg.8.part"]
