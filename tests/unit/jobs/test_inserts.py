"""Screen inserts in a job: which file a frame shows, which marks are refused, what is followed."""

from typing import Any

import pytest

from glimsum_jobs.errors import JobError
from glimsum_jobs.insert_checks import find_fault
from glimsum_jobs.inserts import Insert
from glimsum_jobs.measurements import Checked
from glimsum_jobs.patches import MarkedPatch, marked_patches
from glimsum_jobs.plan import measure_items
from glimsum_jobs.problems import Problem
from glimsum_jobs.reading import read_shot
from unit.jobs.example_jobs import small_job

CORNERS = [[10, 20], [70, 20], [70, 42], [10, 42]]
BOARD: dict[str, Any] = {
    "files": "plates:board.%04d.png",
    "space": "srgb_rec709_scene",
    "corners": [{"frame": 1001, "points": CORNERS}],
}


def with_board(**told: Any) -> dict[str, Any]:
    recipe = [{"pass": "beauty"}, {"insert": "board", "operator": "over"}]
    return small_job(inserts={"board": {**BOARD, **told}}, recipe=recipe)


def problems_of(tree: dict[str, Any]) -> list[Problem]:
    with pytest.raises(JobError) as refused:
        read_shot(tree)
    return refused.value.problems


def numbers(count: int, last: int | None = None, **told: Any) -> list[int]:
    insert = Insert.model_validate({**BOARD, **told})
    frames = range(1001, 1001 + count)
    return [insert.number(f, shot_first=1001, first=insert.first or 0, last=last) for f in frames]


def test_a_clip_runs_from_the_first_frame_of_the_shot() -> None:
    assert numbers(4, first=7) == [7, 8, 9, 10]
    assert numbers(4, first=7, every=2) == [7, 7, 8, 8]
    assert numbers(3, first=7, step=5) == [7, 12, 17]


def test_what_follows_the_last_file_is_as_told() -> None:
    assert numbers(5, last=8, first=7, beyond="hold") == [7, 8, 8, 8, 8]
    assert numbers(5, last=8, first=7, beyond="loop") == [7, 8, 7, 8, 7]
    assert numbers(3, last=8, first=7) == [7, 8, 9]


def test_grain_is_matched_unless_a_share_is_told() -> None:
    assert Insert.model_validate(BOARD).grain_amount == 1
    assert Insert.model_validate({**BOARD, "grain": "match"}).grain_amount == 1
    assert Insert.model_validate({**BOARD, "grain": 0.25}).grain_amount == 0.25


@pytest.mark.parametrize(
    ("points", "fault"),
    [
        (CORNERS, ""),
        (CORNERS[::-1], ""),
        ([CORNERS[0], CORNERS[2], CORNERS[1], CORNERS[3]], "two of its sides cross"),
        ([[10, 20], [70, 20], [20, 25], [10, 42]], "it has a dent"),
        ([[10, 20], [40, 20], [70, 20], [10, 42]], "three corners lie on a line"),
        ([[10, 20], [10, 20], [70, 42], [10, 42]], "two corners are the same point"),
    ],
)
def test_corners_are_a_surface_seen_from_the_front(
    points: list[tuple[float, float]], fault: str
) -> None:
    assert find_fault([(x, y) for x, y in points]) == fault


def test_corners_in_a_wrong_order_are_refused_with_their_place_and_numbers() -> None:
    crossed = [CORNERS[0], CORNERS[2], CORNERS[1], CORNERS[3]]

    (problem,) = problems_of(with_board(corners=[{"frame": 1001, "points": crossed}]))

    assert problem.place.field == "inserts.board.corners.0.points"
    assert problem.what == "the corners of an insert make no surface: two of its sides cross"
    assert problem.seen == "(10, 20), (70, 42), (70, 20), (10, 42)"
    assert problem.remedy == "Mark the four corners in that order."


def test_a_mark_on_a_frame_outside_the_shot_is_refused() -> None:
    (problem,) = problems_of(with_board(corners=[{"frame": 990, "points": CORNERS}]))

    assert problem.place.field == "inserts.board.corners.0.frame"
    assert (problem.seen, problem.expected) == ("frame 990", "a frame from 1001 to 1006")


@pytest.mark.parametrize(
    ("told", "field"),
    [
        ({"corners": []}, "inserts.board.corners"),
        ({"corners": [{"frame": 1001, "points": CORNERS[:3]}]}, "inserts.board.corners.0.points.3"),
        ({"corners": [{"frame": f, "points": CORNERS} for f in (3, 2)]}, "inserts.board.corners"),
        ({"stops": 25}, "inserts.board.stops"),
        ({"softness": -1}, "inserts.board.softness"),
        ({"grain": -0.5}, "inserts.board.grain"),
        ({"grain": "coarse"}, "inserts.board.grain"),
        ({"space": "nowhere"}, "inserts.board.space"),
        ({"holdout": "boat"}, "inserts.board.holdout"),
        ({"beyond": "stop"}, "inserts.board.beyond"),
        ({"alpha": "half"}, "inserts.board.alpha"),
        ({"tint_mired": 501}, "inserts.board.tint_mired"),
        ({"every": 0}, "inserts.board.every"),
        ({"corners": [{"frame": 1001, "points": [["a", 1], *CORNERS[1:]]}]},
         "inserts.board.corners.0.points.0.0"),
    ],
)  # fmt: skip
def test_every_field_is_refused_where_it_stands(told: dict[str, Any], field: str) -> None:
    assert field in [problem.place.field for problem in problems_of(with_board(**told))]


def test_a_step_with_an_insert_that_is_not_there_is_refused() -> None:
    tree = small_job(recipe=[{"pass": "beauty"}, {"insert": "sign"}])

    (problem,) = problems_of(tree)

    assert problem.what == "there is no insert called sign"


def test_an_insert_that_no_step_lays_is_told_of_and_not_followed() -> None:
    job, problems = read_shot(small_job(inserts={"board": BOARD}))

    assert "no step of the recipe lays insert board" in [problem.what for problem in problems]
    assert marked_patches(job) == {}


def test_what_a_recipe_needs_is_followed_each_once() -> None:
    outline = {"frame": 1002, "points": [[1, 2], [30, 4], [9, 40]]}
    tree = with_board(holdout="mast")
    tree["mattes"] = {"mast": {"shape": [outline], "follow": "reference"}}
    tree["recipe"].append({"insert": "board", "matte": "mast"})
    job, _ = read_shot(tree)

    board = tuple((float(x), float(y)) for x, y in CORNERS)
    assert marked_patches(job) == {
        "insert:board": MarkedPatch({1001: board}),
        "matte:mast": MarkedPatch({1002: ((1, 2), (30, 4), (9, 40))}, same_places=False),
    }
    checked = Checked(passes={}, mattes={}, problems=(), needed_bytes=0, free_bytes=0)
    items = measure_items(job.model_copy(update={"passes": _following(job.passes)}), checked)
    assert items == ["follow:insert:board", "follow:matte:mast"]


def _following(passes: dict[str, Any]) -> dict[str, Any]:
    """Return passes of which nothing is measured but what is followed."""
    plain = {"level": "follow", "align": "none", "ambient": None}
    return {name: each.model_copy(update=plain) for name, each in passes.items()}
