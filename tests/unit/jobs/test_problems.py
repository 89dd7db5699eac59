import pytest

from glimsum_jobs.errors import GlimsumError, JobError, SourceError
from glimsum_jobs.problems import Place, Problem, Rank, stopped_frames, stops_shot

DEAD = Problem(
    rank=Rank.STOPS_FRAME,
    what="the file is empty",
    place=Place(shot="mole_040", pass_name="haze", frame=1004, file="haze.0104.jpg"),
    seen="0 bytes",
    expected="a JPEG picture",
    remedy="Copy it from the card again.",
)


def test_a_problem_reads_as_one_sentence_with_everything_in_it() -> None:
    assert str(DEAD) == (
        "stops a frame: the file is empty (shot mole_040, pass haze, frame 1004, "
        "file haze.0104.jpg); seen: 0 bytes; expected: a JPEG picture. "
        "Copy it from the card again."
    )


def test_an_error_becomes_a_problem_and_learns_its_place_on_the_way_up() -> None:
    error = SourceError("the file is empty", place=Place(file="haze.0104.jpg"), seen="0 bytes")
    problem = error.problem(Rank.STOPS_FRAME, shot="mole_040", file="another.jpg", frame=1004)
    assert problem.place == Place(shot="mole_040", file="haze.0104.jpg", frame=1004)
    assert problem.rank is Rank.STOPS_FRAME


def test_a_job_error_shows_every_problem_on_a_line_of_its_own() -> None:
    error = JobError("the job of shot mole_040 can't be used", [DEAD, DEAD])
    assert str(error).count("\n  stops a frame: the file is empty") == 2


def test_ranks_sort_what_stops_the_shot_from_what_stops_a_frame() -> None:
    whole = DEAD.model_copy(update={"rank": Rank.STOPS_SHOT})
    remark = DEAD.model_copy(update={"rank": Rank.REMARK})
    assert stops_shot([DEAD, whole, remark]) == [whole]
    assert stopped_frames([DEAD, whole, remark]) == {1004}


def test_every_error_of_ours_is_caught_as_one() -> None:
    with pytest.raises(GlimsumError, match=r"the file is empty \(file a.jpg\)"):
        raise SourceError("the file is empty", place=Place(file="a.jpg"))
