from fractions import Fraction
from typing import Any

import pytest

from glimsum_jobs.checks import check_job
from glimsum_jobs.cue_checks import predict_flashes
from glimsum_jobs.errors import JobError
from glimsum_jobs.flash_limits import leading_edges, worst_second
from glimsum_jobs.problems import Problem, Rank
from glimsum_jobs.reading import read_shot
from glimsum_jobs.shot import ShotJob
from unit.jobs.example_jobs import small_job


def cued(cues: list[dict[str, Any]], **changes: Any) -> dict[str, Any]:
    tree = small_job(frames={"first": 1001, "last": 1112}, **changes)
    tree["recipe"][1]["cues"] = cues
    return tree


def at(*frames: int, **more: Any) -> list[dict[str, Any]]:
    return [{"cue": i, "frame": f, **more} for i, f in enumerate(frames, 1)]


def problems_of(tree: dict[str, Any]) -> list[Problem]:
    with pytest.raises(JobError) as caught:
        read_shot(tree)
    return caught.value.problems


def remarks_of(tree: dict[str, Any]) -> list[Problem]:
    return read_shot(tree)[1]


def predicted(tree: dict[str, Any]) -> int:
    worst = predict_flashes(ShotJob.model_validate(tree))
    assert worst is not None
    return worst.flashes


def test_a_cue_outside_the_shot_is_named_with_its_frame() -> None:
    (problem,) = problems_of(cued(at(1000, 1050, 1113)[1:]))
    assert problem.place.field == "recipe.1.cues.1.frame"
    assert (problem.what, problem.seen) == ("cue 3 lies outside the shot", "1113")
    assert problem.expected == "1001 to 1112"


def test_two_cues_with_one_number_are_named_with_both_frames() -> None:
    sheet: list[dict[str, Any]] = [{"cue": 37, "frame": 1040}, {"cue": 37.0, "frame": 1061}]
    (problem,) = problems_of(cued(sheet))
    assert problem.place.field == "recipe.1.cues.1.cue"
    assert problem.what == "two cues are numbered 37"
    assert problem.seen == "37 on frame 1040 and on frame 1061"
    assert "37.5" in problem.remedy


def test_cues_out_of_order_are_named_with_both() -> None:
    (problem,) = problems_of(cued([{"cue": 1, "frame": 1061}, {"cue": 2, "frame": 1040}]))
    assert problem.place.field == "recipe.1.cues.1.frame"
    assert problem.seen == "cue 1 on frame 1061, then cue 2 on frame 1040"


def test_numbers_out_of_order_are_a_remark() -> None:
    (remark,) = remarks_of(cued([{"cue": 2, "frame": 1040}, {"cue": 1, "frame": 1061}]))
    assert (remark.rank, remark.place.field) == (Rank.REMARK, "recipe.1.cues.1.cue")


def test_a_sound_sheet_with_an_insert_has_no_problem() -> None:
    assert remarks_of(cued([{"cue": 37, "frame": 1040}, {"cue": 37.3, "frame": 1061}])) == []


# Common practice and published limits beside it: successive flashes with leading edges 9 frames
# apart are acceptable at 25 a second (Ofcom, Guidance Note Section 2, Annex 1); at most three in
# any one second (WCAG 2.2, 2.3.1). At 24 a second the series of 9 frames has three in its worst
# second and that of 3 frames four.
@pytest.mark.parametrize(
    ("frames", "flashes"), [((1001, 1010, 1019, 1028), 3), ((1040, 1043, 1046, 1049), 4)]
)
def test_flashes_are_predicted_from_the_cues_alone(frames: tuple[int, ...], flashes: int) -> None:
    tree = cued(at(*frames, stops=1.0, up=1, down=2))
    assert predicted(tree) == flashes
    assert bool(remarks_of(tree)) == (flashes > 3)


def test_the_remark_names_frames_and_numbers() -> None:
    (remark,) = remarks_of(cued(at(1040, 1043, 1046, 1049)))
    assert remark.place.field == "recipe.1.cues"
    assert remark.seen == "4 flashes in one second, from frames 1040, 1043, 1046, 1049"
    assert remark.expected.startswith("3 at most in any one second")


def test_cues_of_several_steps_flash_together() -> None:
    tree = cued(at(1040, 1046))
    tree["recipe"][0]["cues"] = at(1043, 1049)
    assert predicted(tree) == 4


def test_cues_far_below_the_strongest_are_no_flashes() -> None:
    # -4 stops is 6 % of the light, under the 10 % of WCAG 2.2; the one strong cue is one flash.
    sheet = [*at(1040, 1043, 1046, 1049, stops=-4), {"cue": 9, "frame": 1090}]
    assert predicted(cued(sheet)) == 1


def test_a_rise_that_stays_is_no_flash() -> None:
    assert leading_edges([0.1, 0.5, 0.5, 0.9, 0.9]) == ([], [])


def test_a_fall_and_a_rise_are_a_flash_too() -> None:
    assert leading_edges([0.5, 0.5, 0.1, 0.5]) == ([], [2])


@pytest.mark.parametrize(("step", "count"), [(0.099, 0), (0.101, 2)])
def test_a_change_of_a_tenth_counts_and_a_smaller_one_does_not(step: float, count: int) -> None:
    # WCAG 2.2: 10 % or more of the maximum relative luminance.
    rises, _ = leading_edges([0.3, 0.3 + step, 0.3, 0.3 + step, 0.3])
    assert len(rises) == count


@pytest.mark.parametrize(("dark", "count"), [(0.79, 1), (0.81, 0)])
def test_only_a_darker_state_below_eight_tenths_counts(dark: float, count: int) -> None:
    # WCAG 2.2: where the relative luminance of the darker image is below 0.80.
    rises, _ = leading_edges([dark, dark + 0.15, dark])
    assert len(rises) == count


# Spacing of leading edges of 0.36 s in frames (25 a second: the 9 frames of the Ofcom note),
# by hand: 9, 11, 18, 22 at 24, 30, 50, 60 a second.
@pytest.mark.parametrize(("rate", "apart"), [(24, 9), (25, 9), (30, 11), (50, 18), (60, 22)])
def test_edges_nine_twenty_fifths_of_a_second_apart_are_three_a_second(
    rate: int, apart: int
) -> None:
    assert worst_second(range(1001, 1001 + 8 * apart, apart), Fraction(rate)).flashes == 3


def test_a_second_is_as_long_as_its_rate_says() -> None:
    assert worst_second([0, 29], Fraction(30000, 1001)).flashes == 2
    assert worst_second([0, 30], Fraction(30000, 1001)).flashes == 1


def found_in(tree: dict[str, Any]) -> list[Problem]:
    return check_job(ShotJob.model_validate(tree), {})


def test_a_source_outside_the_shot_is_named() -> None:
    (problem,) = found_in(cued([{"cue": 1, "frame": 1040, "source": 1200}]))
    assert problem.place.field == "recipe.1.cues.0.source"
    assert (problem.seen, problem.expected) == ("1200", "1001 to 1112")
    assert problem.rank is Rank.STOPS_SHOT


def test_another_frame_of_a_moving_camera_is_a_remark() -> None:
    sheet = [{"cue": 1, "frame": 1040, "source": 1020}]
    assert found_in(cued(sheet)) == []
    (remark,) = found_in(cued(sheet, camera="moving"))
    assert (remark.rank, remark.seen) == (Rank.REMARK, "frame 1020 shown on frame 1040")


def test_only_a_pass_has_pictures_of_other_frames() -> None:
    tree = cued([{"cue": 1, "frame": 1040, "source": 1020}])
    tree["recipe"].append({"element": "rain", "cues": tree["recipe"][1].pop("cues")})
    (problem,) = found_in(tree)
    assert problem.place.field == "recipe.2.cues.0.source"
    assert problem.what == "cue 1 of element rain takes the picture of another frame"


def test_so_many_long_cues_are_left_to_the_finished_copy(monkeypatch: pytest.MonkeyPatch) -> None:
    tree = cued(at(*range(1001, 1101, 2), down=40))
    assert predicted(tree) == 0
    monkeypatch.setattr("glimsum_jobs.cue_checks.MOST_VALUES", 1000)
    (remark,) = remarks_of(tree)
    assert (remark.rank, remark.seen) == (Rank.REMARK, "50 cues")
