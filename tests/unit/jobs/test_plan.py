from typing import Any

import pytest

from glimsum_jobs.ledger import ItemRecord, ItemState, RunState, Stage
from glimsum_jobs.measurements import Checked, FoundPass
from glimsum_jobs.orders import RunOrder, WedgeOrder, is_wedge, run_name, wedge_name
from glimsum_jobs.plan import (
    Items,
    best_frame,
    hold_frame,
    measure_items,
    next_stage,
    tracked_passes,
    used_passes,
)
from glimsum_jobs.problems import Place, Problem, Rank
from glimsum_jobs.reading import read_shot
from glimsum_jobs.shot import ShotJob
from glimsum_jobs.varied import Varied
from unit.jobs.example_jobs import small_job


def order(**changes: Any) -> RunOrder:
    job, _ = read_shot(small_job(**changes))
    return RunOrder(
        run=run_name("mole_040", 3),
        shot="mole_040",
        version=3,
        job=job,
        job_digest="0" * 64,
        folder="out:mole_040/v003",
        made="2026-11-25T22:00:00Z",
    )


def found(*problems: Problem) -> Checked:
    leak = FoundPass(first=1, width=8, height=8, count=6, covers=True)
    return Checked(
        passes={"leak": leak}, mattes={}, problems=problems, needed_bytes=0, free_bytes=1
    )


def checked(*problems: Problem) -> dict[str, Any]:
    return found(*problems).model_dump(mode="json")


def finished(stage: Stage, *items: ItemRecord) -> Items:
    def items_of(asked: Stage) -> list[ItemRecord]:
        return list(items) if asked is stage else [done("shot", checked())]

    return items_of


def done(item: str, result: dict[str, Any] | None = None) -> ItemRecord:
    return ItemRecord(item=item, state=ItemState.DONE, result=result or {})


def dead(frame: int) -> Problem:
    return Problem(rank=Rank.STOPS_FRAME, what="dead", place=Place(frame=frame))


def test_a_run_is_named_by_shot_and_version() -> None:
    assert run_name("mole_040", 3) == "mole_040/v003"


def test_only_what_the_recipe_needs_is_used() -> None:
    job, _ = read_shot(small_job(recipe=[{"pass": "practicals"}]))
    assert used_passes(job) == ["practicals", "leak"]


def test_ambients_are_averaged_and_steady_passes_sampled_on_living_frames() -> None:
    job, _ = read_shot(small_job())
    assert measure_items(job, found(dead(1003))) == [
        "average:leak",
        "sample:practicals:1001",
        "sample:practicals:1002",
        "sample:practicals:1004",
        "sample:practicals:1005",
        "sample:practicals:1006",
    ]


def test_a_moving_ambient_is_sampled_with_the_pass_it_is_taken_from() -> None:
    job, _ = read_shot(small_job(camera="moving"))
    items = measure_items(job, found())
    assert [item for item in items if item.startswith("sample:leak")] == [
        f"sample:leak:{frame}" for frame in range(1001, 1007)
    ]


def drifting(**changes: Any) -> ShotJob:
    tree = small_job(**changes)
    tree["passes"]["practicals"]["align"] = "similarity"
    job, _ = read_shot(tree)
    return job


def test_a_pass_that_may_have_drifted_is_tracked_with_its_reference() -> None:
    job = drifting()
    items = [item for item in measure_items(job, found(dead(1003))) if item.startswith("track")]
    frames = (1001, 1002, 1004, 1005, 1006)
    assert items == [f"track:{name}:{f}" for name in ("beauty", "practicals") for f in frames]


def test_a_lamp_that_is_out_has_no_place_to_find() -> None:
    keys = [{"frame": 1003, "value": 0}, {"frame": 1004, "value": "out"}]
    job = drifting(recipe=[{"pass": "beauty"}, {"pass": "practicals", "stops": keys}])
    items = [item for item in measure_items(job, found()) if item.startswith("track:pract")]
    assert items == [f"track:practicals:{frame}" for frame in (1001, 1002, 1003)]


def test_without_drift_nothing_is_tracked() -> None:
    job, _ = read_shot(small_job())
    assert tracked_passes(job) == []


def test_the_hold_frame_is_the_living_one_in_the_middle() -> None:
    assert hold_frame(drifting(), found()) == 1004
    assert hold_frame(drifting(), found(dead(1004))) == 1003


def test_a_pass_is_compared_with_the_frame_its_lamp_burns_most_on() -> None:
    keys = [{"frame": 1001, "value": "out"}, {"frame": 1002, "value": 0}]
    keys += [{"frame": 1003, "value": "out"}]
    job = drifting(recipe=[{"pass": "beauty"}, {"pass": "practicals", "stops": keys}])
    assert best_frame(job, found(), "practicals") == 1002
    assert best_frame(job, found(), "beauty") == hold_frame(job, found())


def test_a_refusal_by_the_check_ends_the_run() -> None:
    refusal = Problem(rank=Rank.STOPS_SHOT, what="no files")
    after = next_stage(order(), Stage.CHECK, finished(Stage.CHECK, done("shot", checked(refusal))))
    assert (after.stage, after.end) == (None, RunState.REFUSED)


def test_a_check_that_never_ended_well_refuses_the_run() -> None:
    aside = ItemRecord(item="shot", state=ItemState.SET_ASIDE)
    after = next_stage(order(), Stage.CHECK, finished(Stage.CHECK, aside))
    assert after.end is RunState.REFUSED


def test_with_nothing_to_measure_the_run_goes_straight_to_solving() -> None:
    passes = {"beauty": {**small_job()["passes"]["beauty"]}}
    del passes["beauty"]["ambient"]
    plain = order(passes=passes, recipe=[{"pass": "beauty"}])
    after = next_stage(plain, Stage.CHECK, finished(Stage.CHECK, done("shot", checked())))
    assert (after.stage, after.items) == (Stage.SOLVE, ("shot",))


def test_dead_frames_are_set_aside_with_their_reason_before_anybody_takes_them() -> None:
    def items(stage: Stage) -> list[ItemRecord]:
        return [done("shot", checked(dead(1004)) if stage is Stage.CHECK else {})]

    after = next_stage(order(), Stage.SOLVE, items)

    assert after.stage is Stage.COMBINE
    assert after.items == tuple(str(frame) for frame in range(1001, 1007))
    assert [(item, failure.message) for item, failure in after.set_aside] == [
        ("1004", "stops a frame: dead (frame 1004)")
    ]


def test_a_shot_with_a_frame_set_aside_is_done_with_remarks() -> None:
    def items(stage: Stage) -> list[ItemRecord]:
        if stage is Stage.FINISH:
            return [done("shot", {"remarks": []})]
        return [done("1001"), ItemRecord(item="1002", state=ItemState.SET_ASIDE)]

    assert next_stage(order(), Stage.FINISH, items).end is RunState.DONE_WITH_REMARKS


def test_a_shot_without_a_flaw_is_done() -> None:
    def items(stage: Stage) -> list[ItemRecord]:
        return [done("shot", {"remarks": []})]

    assert next_stage(order(), Stage.FINISH, items).end is RunState.DONE


def wedge_order() -> WedgeOrder:
    made_of = order()
    return WedgeOrder(
        run=wedge_name("mole_040", 12),
        shot="mole_040",
        wedge=12,
        version=3,
        job=made_of.job,
        job_digest=made_of.job_digest,
        varied=(Varied(name="practicals", values=(0.0, 1.0)),),
        frames=(1001,),
        width=480,
        folder="out:harbour/mole_040/wedges/w012",
        made="2026-11-26T22:00:00Z",
    )


def test_a_wedge_has_a_name_a_sheet_and_what_is_kept_of_its_shot() -> None:
    wedge = wedge_order()
    assert (wedge.run, wedge.sheet) == ("mole_040/w012", "mole_040_w012.jpg")
    assert (is_wedge(wedge.run), is_wedge(order().run)) == (True, False)
    assert str(wedge.kept) == "out:harbour/mole_040/kept"
    assert str(order().kept) == "out:mole_040/kept"


@pytest.mark.parametrize(
    ("left", "end"),
    [
        ({"sheet": "s.jpg", "problems": []}, RunState.DONE),
        ({"sheet": "s.jpg", "problems": [{"rank": "remark", "what": "clipped"}]},
         RunState.DONE_WITH_REMARKS),
        ({"sheet": None, "problems": [{"rank": "stops the shot", "what": "no files"}]},
         RunState.REFUSED),
        (None, RunState.REFUSED),
    ],
)  # fmt: skip
def test_a_wedge_ends_after_its_one_stage(left: dict[str, Any] | None, end: RunState) -> None:
    result = None if left is None else {"digest": "d", "bytes": 1, "seconds": 1.0} | left
    aside = ItemState.SET_ASIDE if left is None else ItemState.DONE

    def items(stage: Stage) -> list[ItemRecord]:
        return [ItemRecord(item="shot", state=aside, result=result)]

    step = next_stage(wedge_order(), Stage.WEDGE, items)

    assert (step.stage, step.end) == (None, end)


def test_a_version_has_no_stage_of_wedges() -> None:
    with pytest.raises(ValueError, match="mole_040/v003 is a version"):
        next_stage(order(), Stage.WEDGE, lambda _: [])
