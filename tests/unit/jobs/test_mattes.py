"""Mattes in a job: every kind is read, and what can't be made is refused before any frame is."""

from typing import Any

import pytest

from glimsum_jobs.errors import JobError
from glimsum_jobs.matte_shapes import ShapeKey, SoftEdge, outline_at, soft_edge
from glimsum_jobs.problems import Problem
from glimsum_jobs.reading import read_shot
from glimsum_jobs.shot import ShotJob
from unit.jobs.example_jobs import small_job

SQUARE = [[1, 1], [9, 1], [9, 9], [1, 9]]
KINDS: dict[str, Any] = {
    "window": {"shape": [{"frame": 1001, "points": SQUARE}], "feather": 6, "grow": -1.5},
    "door": {
        "shape": [{"frame": 1001, "points": SQUARE}],
        "feather": {"inside": 2, "outside": 5},
        "soften": 3,
    },
    "sky": {"pass": "matte"},
    "bright": {"luminance_of": "practicals", "low": 0.2, "high": 0.5},
    "band": {
        "luminance_of": "practicals",
        "low": 0.2,
        "high": 0.5,
        "until": {"low": 2, "high": 3},
    },
    "moved": {"difference": "beauty", "plate": "clean"},
    "drawn": {"files": "drawn.%04d.png"},
    "both": {"all_of": ["window", "sky"]},
    "either": {"any_of": ["window", "both"]},
    "rest": {"this": "either", "without": "bright", "invert": True},
}


def tree_with(**mattes: Any) -> dict[str, Any]:
    tree = small_job()
    for name in ("matte", "clean"):
        tree["passes"][name] = {**tree["passes"]["practicals"], "exposure": {"stops": 0}}
    tree["mattes"] = mattes
    return tree


def problems_of(**mattes: Any) -> list[Problem]:
    with pytest.raises(JobError) as caught:
        read_shot(tree_with(**mattes))
    return caught.value.problems


def test_every_kind_of_matte_is_read_and_survives_json() -> None:
    job, _ = read_shot(tree_with(**KINDS))

    again = ShotJob.model_validate_json(job.model_dump_json(by_alias=True))

    assert list(job.mattes) == list(KINDS)
    assert again == job


def test_a_matte_knows_its_passes_and_mattes() -> None:
    job, _ = read_shot(tree_with(**KINDS))

    told = {name: (each.pass_names, each.matte_names) for name, each in job.mattes.items()}

    assert told["moved"] == (("beauty", "clean"), ())
    assert told["bright"] == (("practicals",), ())
    assert told["rest"] == ((), ("either", "bright"))
    assert job.silhouettes == {"matte", "clean"}


@pytest.mark.parametrize(
    ("mattes", "field", "seen", "expected"),
    [
        ({"a": {"all_of": ["b"]}, "b": {"any_of": ["a"]}}, "mattes.a", "a -> b -> a", "shapes"),
        ({"a": {"all_of": ["a"]}}, "mattes.a", "a -> a", "shapes"),
        ({"a": {"all_of": ["gone"]}}, "mattes.a.all_of.0", "gone", "a"),
        ({"a": {"this": "a2", "without": "gone"}, "a2": {"pass": "matte"}}, "mattes.a.without",
         "gone", "a or a2"),
        ({"a": {"luminance_of": "gone", "low": 0, "high": 1}}, "mattes.a.luminance_of", "gone",
         "beauty"),
        ({"a": {"difference": "beauty", "plate": "gone"}}, "mattes.a.plate", "gone", "beauty"),
        ({"a": {"difference": "beauty", "plate": "beauty"}}, "mattes.a.plate",
         "difference: beauty, plate: beauty", "two passes"),
        ({"a": {"luminance_of": "beauty", "low": 1, "high": 1}}, "mattes.a.high",
         "low: 1, high: 1", "high above 1"),
        ({"a": {"luminance_of": "beauty", "low": 0, "high": 1, "until": {"low": 0.5, "high": 2}}},
         "mattes.a.until.low", "until low: 0.5, high: 1", "until low from 1 on"),
        ({"a": {"luminance_of": "leak", "low": 0, "high": 1}}, "mattes.a.luminance_of",
         "use: ambient", "every frame"),
        ({"a": {"pass": "matte", "empty": "clean"}}, "mattes.a.empty", "use: none, a lamp pass",
         "use: empty_backing"),
        ({"a": {"shape": [{"frame": 1001, "points": SQUARE}, {"frame": 1002, "points": SQUARE[:3]}]
          }}, "mattes.a.shape.1.points", "3 corners", "4, as on frame 1001"),
        ({"a": {"shape": [{"frame": 1001, "points": [[1, 1], [2, 2], [3, 3]]}]}},
         "mattes.a.shape.0.points", "an area of 0 square pixels", "not on one line"),
        ({"a": {"shape": [{"frame": 1001, "points": SQUARE[:2]}]}}, "mattes.a.shape.0.points",
         "[[1, 1], [9, 1]]", "at least 3"),
        ({"a": {"shape": [{"frame": 1002, "points": SQUARE}, {"frame": 1002, "points": SQUARE}]}},
         "mattes.a.shape", "frame", "outline 1002 must lie after outline 1002"),
        ({"a": {"pass": "matte", "grow": 101}}, "mattes.a.grow", "101", "or equal to 100"),
        ({"a": {"pass": "matte", "soften": -1}}, "mattes.a.soften", "-1", "greater than"),
        ({"a": {"fether": 3}}, "mattes.a", "fether", "a matte with one of files, pass, shape"),
    ],
)  # fmt: skip  # one case a line
def test_a_matte_that_cannot_be_made_is_refused_by_name(
    mattes: dict[str, Any], field: str, seen: str, expected: str
) -> None:
    found = [each for each in problems_of(**mattes) if each.place.field == field]

    assert len(found) == 1, [str(each) for each in problems_of(**mattes)]
    assert seen in found[0].seen
    assert expected in found[0].expected
    assert found[0].remedy


def test_a_slip_in_one_kind_is_told_of_that_kind_alone() -> None:
    told = problems_of(a={"shape": [{"frame": 1001, "points": SQUARE}], "fether": 3})

    assert [each.place.field for each in told] == ["mattes.a.fether"]
    assert "Did you mean feather?" in told[0].remedy


def test_an_outline_outside_the_shot_is_a_remark() -> None:
    _, remarks = read_shot(tree_with(a={"shape": [{"frame": 999, "points": SQUARE}]}))

    assert [each.seen for each in remarks if each.place.field == "mattes.a.shape"] == ["frames 999"]


def test_corners_move_evenly_between_outlines_and_hold_outside() -> None:
    # Linear interpolation: at a quarter of the way, 3/4 of the one and 1/4 of the other.
    keys = (
        ShapeKey(frame=10, points=((0, 0), (4, 0), (4, 4))),
        ShapeKey(frame=14, points=((8, 0), (12, 4), (12, 8))),
    )

    assert outline_at(keys, 11) == ((2, 0), (6, 1), (6, 5))
    assert outline_at(keys, 9) == outline_at(keys, 10) == keys[0].points
    assert outline_at(keys, 15) == outline_at(keys, 14) == keys[1].points


def test_a_feather_in_one_number_lies_half_inside_and_half_outside() -> None:
    assert soft_edge(6.0) == SoftEdge(inside=3, outside=3)
    assert soft_edge(SoftEdge(outside=5)) == SoftEdge(inside=0, outside=5)
