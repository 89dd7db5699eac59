"""What a change touches, told from two jobs alone.

The workers' own fingerprints are the truth beside it in test_rerunning (services); here each
field is looked at by itself.
"""

from typing import Any

import pytest

from glimsum_jobs.measurements import Checked, FoundPass
from glimsum_jobs.shot import ShotJob
from glimsum_jobs.touched import FrameKeys, measured_anew

LAMP = {"space": "lin_ap1_scene", "exposure": {"stops": 0}}
PASSES: dict[str, Any] = {
    name: {**LAMP, "files": f"plates:{name}/{name}.%04d.exr", "align": "none"}
    for name in ("key", "bulbs", "flash")
} | {"leak": {"files": "plates:leak/l.%04d.exr", "space": "lin_ap1_scene", "use": "ambient"}}
RECIPE: list[dict[str, Any]] = [
    {"pass": "key"},
    {"pass": "bulbs", "matte": "window"},
    {"pass": "flash", "cues": [{"cue": 1, "frame": 3, "up": 2, "down": 2}]},
]
ALL = [1, 2, 3, 4]


def job(**changes: Any) -> ShotJob:
    tree = {
        "glimsum": 1, "shot": "mole", "rate": 24, "camera": "moving",
        "frames": {"first": 1, "last": 4}, "output": "out:mole", "recipe": RECIPE,
        "mattes": {"window": {"files": "plates:w.png"}}, "passes": PASSES,
    }  # fmt: skip
    return ShotJob.model_validate({**tree, **changes})


def passes(name: str, **changes: Any) -> dict[str, Any]:
    return {"passes": {**PASSES, name: {**PASSES[name], **changes}}}


def recipe(index: int, **changes: Any) -> dict[str, Any]:
    return {"recipe": [{**step, **(changes if n == index else {})}
                       for n, step in enumerate(RECIPE)]}  # fmt: skip


def checked() -> Checked:
    found = FoundPass(first=1, width=64, height=36, count=4, covers=True)
    return Checked(
        passes=dict.fromkeys(PASSES, found), mattes={}, problems=(), needed_bytes=1, free_bytes=2
    )


def touched(**changes: Any) -> list[int]:
    before, after = FrameKeys(job(), checked()), FrameKeys(job(**changes), checked())
    return [frame for frame in ALL if before.key(frame) != after.key(frame)]


@pytest.mark.parametrize(
    ("changes", "frames"),
    [
        ({}, []),
        (recipe(0, stops=-1), ALL),
        (recipe(0, stops=[{"frame": 2, "value": 0}, {"frame": 3, "value": 1}]), [3, 4]),
        (recipe(2, tint_mired=10), [2, 3, 4]),
        (recipe(2, stops=-1), [2, 3, 4]),
        (recipe(2, lamp_kelvin=4000), []),
        (recipe(1, operator="lighten"), ALL),
        (recipe(1, matte=None), ALL),
        ({"mattes": {"window": {"files": "plates:other.png"}}}, ALL),
        (passes("flash", files="plates:take2.%04d.exr"), [2, 3, 4]),
        (passes("bulbs", ambient="leak"), ALL),
        (passes("leak", files="plates:leak/again.%04d.exr"), []),
        ({"rate": "25"}, ALL),
        ({"space": "lin_rec709_scene"}, ALL),
        ({"edges": "crop"}, ALL),
        ({"reference": "bulbs"}, ALL),
        ({"masters": [{"pixel": "float"}]}, ALL),
        ({"picture": {"stops": 1}}, []),
        ({"picture": {"stops": 1, "in_masters": True}}, ALL),
        ({"viewing": {"width": 320}}, []),
        ({"frames": {"first": 1, "last": 3}}, []),
        ({"frames": {"first": 2, "last": 4}}, ALL),
    ],
    ids=str,
)
def test_a_change_touches_the_frames_it_shows_on(
    changes: dict[str, Any], frames: list[int]
) -> None:
    # Common practice, no source: a lamp that is out on a frame changes nothing there.
    assert touched(**changes) == frames


def test_a_pass_that_is_out_elsewhere_now_may_lie_elsewhere_on_all_its_frames() -> None:
    placed = passes("flash", align="shift")
    less = recipe(2, cues=[{"cue": 1, "frame": 3, "up": 2}])
    before = FrameKeys(job(**placed), checked())
    after = FrameKeys(job(**placed, **less), checked())
    assert [frame for frame in ALL if before.key(frame) != after.key(frame)] == [2, 3, 4]


def test_other_gains_ask_for_no_measurement_and_a_new_pass_for_its_own() -> None:
    steady = {"passes": {**PASSES, "bulbs": {**PASSES["bulbs"], "level": "steady"}}}
    follow = job()
    assert measured_anew(job(**steady), job(**steady, **recipe(0, stops=2)), checked()) == []
    assert measured_anew(follow, job(**steady), checked()) == [
        f"sample:bulbs:{frame}" for frame in ALL
    ]
    longer = {"passes": {**steady["passes"], "bulbs": {**steady["passes"]["bulbs"], "first": 2}}}
    assert measured_anew(job(**steady), job(**longer), checked()) == [
        f"sample:bulbs:{frame}" for frame in ALL
    ]
    ambient = {"passes": {**PASSES, "key": {**PASSES["key"], "ambient": "leak"}}}
    assert measured_anew(follow, job(**ambient), checked()) == ["average:leak"]


def test_a_flash_that_burns_longer_is_looked_at_on_its_new_frames_alone() -> None:
    placed = passes("flash", align="shift")
    more = recipe(2, cues=[{"cue": 1, "frame": 3, "up": 3, "down": 2}])
    assert measured_anew(job(**placed), job(**placed, **more), checked()) == ["track:flash:1"]


def test_without_a_check_or_with_a_pass_it_never_saw_it_is_not_known() -> None:
    assert measured_anew(job(), job(), None) is None
    other = job(passes={**PASSES, "moon": PASSES["key"]})
    assert measured_anew(job(), other, checked()) is None
