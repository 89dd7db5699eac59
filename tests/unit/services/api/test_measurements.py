"""What was measured, over HTTP: the form of the command, page by page."""

from typing import Any

import pytest

from glimsum_jobs.ledger import Cause, Failure, Stage
from glimsum_jobs.measurements import Checked, FoundOffset, FoundPass, Levels, Solved
from glimsum_jobs.problems import Place, Problem, Rank
from glimsum_jobs.tracks import Knock, PassTrack, Placed
from support.api_server import Running
from support.api_work import SHOT

RUN = "mole_040/v001"
HERE = "/shots/mole_040/versions/1/measurements"
FRAMES = range(1001, 1004)

FOUND = FoundPass(first=1, width=64, height=36, count=9, covers=True)
SYNC = FoundOffset(
    margin=0.4, certain=True, frames=(1001, 1003), scores={1: (0.5, None), 2: (3.0, 2.0)}
)
CHECKED = Checked(
    passes={"beauty": FOUND, "haze": FOUND.model_copy(update={"start_offset": 2, "sync": SYNC})},
    mattes={},
    problems=(),
    needed_bytes=1,
    free_bytes=2,
)
TRACK = PassTrack(
    frames={
        frame: Placed(
            dx=0.25,
            dy=-0.5,
            rotation_deg=0.01,
            scale=1.0001,
            sigma_px=None if frame == 1003 else 0.05,
            trusted=frame != 1003,
            source="interpolated" if frame == 1003 else "measured",
        )
        for frame in FRAMES
    },
    knocks=(Knock(frame=1002, dx=0.8, dy=0.0),),
)
SOLVED = Solved(
    averages={},
    levels={
        "beauty": Levels(
            gains=dict.fromkeys(FRAMES, 1.02),
            sigma={1001: 0.001, 1002: -1.0, 1003: 0.001},
            trusted={1001: True, 1002: False, 1003: True},
        )
    },
    tracks={"haze": TRACK},
    problems=(
        Problem(rank=Rank.REMARK, what="the camera was knocked", place=Place(pass_name="haze")),
    ),
    revision="ab" * 32,
)


def job() -> dict[str, Any]:
    haze = SHOT["passes"]["haze"] | {"align": "similarity", "start_offset": 2}
    frames = {"first": 1001, "last": 1003}
    passes = {**SHOT["passes"], "haze": haze}
    return SHOT | {"frames": frames, "handles": {}, "passes": passes}


@pytest.fixture
def measured(running: Running) -> Running:
    """A version that was solved; the haze of frame 1003 could not be read."""
    running.http.post("/shots", json=job()).raise_for_status()
    ledger, claim = running.work.ledger, running.work.claim
    ledger.done(claim(RUN, Stage.CHECK), CHECKED.model_dump(mode="json"))
    for _ in range(6):
        item = claim(RUN, Stage.MEASURE)
        if item.item == "track:haze:1003":
            failure = Failure(cause=Cause.BAD_SOURCE, kind="SourceError", message="cut off")
            ledger.fail(item, failure)
        else:
            ledger.done(item, {})
    ledger.done(claim(RUN, Stage.SOLVE), SOLVED.model_dump(mode="json"))
    return running


def test_places_have_the_form_of_the_command(measured: Running) -> None:
    told = measured.http.get(HERE).json()

    assert (told["shot"], told["version"], told["revision"]) == ("mole_040", 1, "ab" * 32)
    haze = told["passes"]["haze"]
    assert haze["start_offset"] == 2
    assert haze["frames"][0] == {
        "frame": 1001,
        "dx": 0.25,
        "dy": -0.5,
        "rotation_deg": 0.01,
        "scale": 1.0001,
        "sigma_px": 0.05,
        "trusted": True,
    }
    assert haze["frames"][2]["sigma_px"] is None
    assert haze["sources"] == {"measured": "1001 to 1002", "interpolated": "1003"}
    assert haze["knocks"] == [{"frame": 1002, "dx": 0.8, "dy": 0.0}]
    assert haze["level"] is None


def test_scores_of_start_offsets_are_told(measured: Running) -> None:
    offset = measured.http.get(HERE).json()["passes"]["haze"]["offset"]
    assert (offset["certain"], offset["margin"], offset["frames"]) == (True, 0.4, [1001, 1003])
    assert offset["candidates"] == [
        {"start_offset": 1, "scores": [0.5, None]},
        {"start_offset": 2, "scores": [3.0, 2.0]},
    ]


def test_flicker_is_told_of_a_pass_whose_level_is_held(measured: Running) -> None:
    beauty = measured.http.get(HERE).json()["passes"]["beauty"]
    assert beauty["frames"] == []
    assert beauty["level"][1] == {"frame": 1002, "gain": 1.02, "sigma": None, "trusted": False}


def test_remarks_and_what_could_not_be_measured_are_named(measured: Running) -> None:
    told = measured.http.get(HERE).json()
    assert told["remarks"][0]["what"] == "the camera was knocked"
    assert told["remarks"][0]["where"] == {"pass": "haze"}
    assert told["unmeasured"] == [{"item": "track:haze:1003", "reason": "cut off"}]


def test_frames_come_in_pages(measured: Running) -> None:
    first = measured.http.get(HERE, params={"limit": 2}).json()
    second = measured.http.get(HERE, params={"limit": 2, "after": first["after"]}).json()

    assert first["after"] == 1002
    assert [each["frame"] for each in first["passes"]["haze"]["frames"]] == [1001, 1002]
    assert second["after"] is None
    assert [each["frame"] for each in second["passes"]["haze"]["frames"]] == [1003]
    assert [each["frame"] for each in second["passes"]["beauty"]["level"]] == [1003]


def test_before_solving_there_is_no_pass(running: Running) -> None:
    running.http.post("/shots", json=job()).raise_for_status()
    told = running.http.get(HERE).json()
    assert (told["revision"], told["passes"], told["remarks"]) == (None, {}, [])


def test_the_form_is_described(running: Running) -> None:
    described = running.http.get("/openapi.json").json()["components"]["schemas"]
    frame = described["PlacedFrame"]["properties"]
    assert set(frame) >= {"frame", "dx", "dy", "rotation_deg", "scale", "sigma_px", "trusted"}
    assert (
        "c + scale * Rot(rotation) * (p - c) + (dx, dy)" in described["PlacedFrame"]["description"]
    )
    assert {"start_offset", "frames", "offset", "level"} <= set(
        described["PassAnswer"]["properties"]
    )
