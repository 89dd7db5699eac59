"""Wedges that can't be made are refused at once, with every reason."""

import json
from typing import Any

import pytest

from support.api_server import Running
from support.api_work import SHOT
from unit.services.api.test_error_shape import hold_shape
from unit.services.api.test_wedges import ASKED, ask


@pytest.fixture
def shot(running: Running) -> Running:
    assert running.http.post("/shots", json=SHOT).status_code == 201
    return running


@pytest.mark.parametrize(
    ("changes", "what", "seen", "expected"),
    [
        ({"frames": [1004, 2000]}, "the shot has no such frame", "2000", "1001 to 1012"),
        ({"frames": [1004, 1004]}, "a frame stands twice", "2 times", "each frame once"),
        ({"varied": [{"name": "rain", "values": [0]}]}, "rain", "rain", ""),
        (
            {
                "frames": list(range(1001, 1013)),
                "varied": [{"name": "haze", "values": [n / 8 for n in range(13)]}],
            },
            "the sheet would have too many pictures",
            "156 pictures",
            "150 at most",
        ),
        ({"varied": [{"name": "haze", "values": [1, 1.0]}]}, "stands twice", "1", "different"),
        ({"varied": [{"name": "haze", "values": [400]}]}, "", "400", ""),
        ({"varied": [{"name": "haze", "field": "cue", "cue": 3, "values": [1]}]}, "no cue 3",
         "cues: none", "a cue that is there"),
        ({"varied": [{"name": "haze", "values": [1]}] * 2}, "varied twice", "haze", ""),
    ],
)  # fmt: skip
def test_what_the_job_tells_is_refused_at_once(
    shot: Running, changes: dict[str, Any], what: str, seen: str, expected: str
) -> None:
    error = hold_shape(shot.http.post("/wedges", json=ASKED | changes), 422).errors[0]

    assert what in error.what
    assert seen in error.seen
    assert expected in error.expected
    assert error.remedy
    assert error.where["shot"] == "mole_040"
    assert not (shot.work.out / "mole_040" / "wedges").exists()


def test_everything_wrong_is_told_at_once(shot: Running) -> None:
    wrong = {"frames": [1, 2, 2], "varied": [{"name": "rain", "values": [0, 0]}]}

    found = hold_shape(shot.http.post("/wedges", json=ASKED | wrong), 422).errors

    assert [each.where.get("frame") for each in found] == [1, 2, 2, None, None]


@pytest.mark.parametrize(
    "changes",
    [
        {"width": 63},
        {"width": 4097},
        {"width": "480"},
        {"frames": []},
        {"varied": []},
        {"varied": [{"name": "haze", "values": []}]},
        {"varied": [{"name": "haze", "values": list(range(26))}]},
        {"varied": [{"name": "haze", "field": "cue", "values": [1]}]},
        {"colour": "blue"},
        {"shot": "../x"},
        {"version": 0},
    ],
)
def test_what_is_no_wedge_is_refused(shot: Running, changes: dict[str, Any]) -> None:
    hold_shape(shot.http.post("/wedges", json=ASKED | changes), 422)


def test_a_number_that_is_none_is_refused(shot: Running) -> None:
    # RFC 8259, 6 knows no NaN; some libraries write and read it all the same.
    text = json.dumps(ASKED).replace("-1", "NaN")
    headers = {"content-type": "application/json"}

    hold_shape(shot.http.post("/wedges", content=text, headers=headers), 422)


def test_an_unknown_shot_version_or_wedge_is_not_found(shot: Running) -> None:
    assert "there is no shot" in hold_shape(
        shot.http.post("/wedges", json=ASKED | {"shot": "quay"}), 404).errors[0].what  # fmt: skip
    found = hold_shape(shot.http.post("/wedges", json=ASKED | {"version": 7}), 404).errors[0]
    assert (found.seen, found.expected) == ("7", "1 to 1")
    for address in ("/wedges/mole_040.w007", "/wedges/mole_040.w007/sheet", "/wedges?shot=quay"):
        hold_shape(shot.http.get(address), 404)
    hold_shape(shot.http.get(ask(shot)["links"]["self"] + "/sheet"), 404)
