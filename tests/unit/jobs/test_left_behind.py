from typing import Any

from glimsum_jobs.ledger import STAGES, Stage
from glimsum_jobs.left_behind import LeftBehind, newest_standing


def line(stage: Stage, item: str, token: int, **result: Any) -> LeftBehind:
    return LeftBehind(
        stage=stage, item=item, token=token, worker="m/1", ended=1.0, seconds=0.5, result=result
    )


def tokens(lines: list[LeftBehind]) -> dict[str, dict[str, int]]:
    found = newest_standing(lines)
    assert tuple(found) == STAGES
    return {
        stage.value: {item: each.token for item, each in kept.items()}
        for stage, kept in found.items()
        if kept
    }


def test_of_several_lines_of_an_item_the_newest_token_counts_in_whatever_order_they_are_read() -> (
    None
):
    first = line(Stage.CHECK, "shot", 1)
    old, new = line(Stage.COMBINE, "1001", 4), line(Stage.COMBINE, "1001", 9)
    for lines in ([first, old, new], [new, old, first]):
        assert tokens(lines) == {"check": {"shot": 1}, "combine": {"1001": 9}}


def test_what_was_made_before_an_earlier_stage_was_done_again_does_not_count() -> None:
    lines = [
        line(Stage.CHECK, "shot", 1),
        line(Stage.MEASURE, "track:haze:1001", 2),
        line(Stage.MEASURE, "track:haze:1002", 3),
        line(Stage.SOLVE, "shot", 4),
        line(Stage.COMBINE, "1001", 5),
        line(Stage.FINISH, "shot", 6),
        # Tried again after its file was put right: solving and all behind it was forgotten.
        line(Stage.MEASURE, "track:haze:1002", 7),
    ]
    assert tokens(lines) == {
        "check": {"shot": 1},
        "measure": {"track:haze:1001": 2, "track:haze:1002": 7},
    }
    lines += [line(Stage.SOLVE, "shot", 8), line(Stage.COMBINE, "1002", 9)]
    assert tokens(lines)["combine"] == {"1002": 9}


def test_a_line_of_a_later_program_with_more_fields_is_still_read() -> None:
    told = {**line(Stage.CHECK, "shot", 1).model_dump(mode="json"), "heat_c": 61}
    assert LeftBehind.model_validate(told).token == 1
