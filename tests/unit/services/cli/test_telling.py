"""What commands say of problems."""

import json

import pytest

from glimsum_jobs.errors import JobError, SourceError
from glimsum_jobs.problems import Place, Problem, Rank
from glimsum_services.cli.tables import size_words, table_lines
from glimsum_services.cli.telling import problem_json, problem_lines, tell_error

DEAD = Problem(
    rank=Rank.STOPS_FRAME,
    what="the picture is cut off",
    place=Place(shot="mole_040", pass_name="haze", frame=1004, file="haze.0104.jpg"),
    seen="71 680 bytes",
    expected="a picture that ends",
    remedy="Copy the file again.",
)
UNKNOWN = Problem(
    rank=Rank.STOPS_SHOT,
    what="there is no pass called fog",
    place=Place(field="recipe.2.pass", line=41, column=12),
)


def test_problems_stand_in_order_of_their_rank_with_place_seen_expected_and_remedy() -> None:
    expected = [
        "Stops the shot (1)",
        "  - field recipe.2.pass, line 41, column 12: there is no pass called fog",
        "Stops a frame (1)",
        "  - shot mole_040, pass haze, frame 1004, file haze.0104.jpg: the picture is cut off",
        "      seen:     71 680 bytes",
        "      expected: a picture that ends",
        "      remedy:   Copy the file again.",
    ]
    assert expected == problem_lines([DEAD, UNKNOWN])


def test_a_problem_for_machines_has_the_shape_of_the_api() -> None:
    assert problem_json(DEAD) == {
        "rank": "stops a frame",
        "what": "the picture is cut off",
        "where": {"shot": "mole_040", "pass": "haze", "frame": 1004, "file": "haze.0104.jpg"},
        "seen": "71 680 bytes",
        "expected": "a picture that ends",
        "remedy": "Copy the file again.",
    }


def test_an_error_for_people_goes_to_the_error_stream(capsys: pytest.CaptureFixture[str]) -> None:
    error = SourceError(
        "this is not a picture", place=Place(file="a.dpx"), seen="0 bytes", expected="SDPX"
    )

    tell_error(error, 1, as_json=False)

    told = capsys.readouterr()
    assert told.out == ""
    assert told.err.splitlines() == [
        "file a.dpx: this is not a picture",
        "  seen:     0 bytes",
        "  expected: SDPX",
    ]


def test_an_error_for_machines_is_one_document_with_all_problems(
    capsys: pytest.CaptureFixture[str],
) -> None:
    tell_error(JobError("the job can't be used", [DEAD, UNKNOWN]), 1, as_json=True)

    told = json.loads(capsys.readouterr().out)
    assert told["error"] == "the job can't be used"
    assert told["exit_code"] == 1
    assert [each["what"] for each in told["problems"]] == [DEAD.what, UNKNOWN.what]


def test_a_table_puts_numbers_to_the_right() -> None:
    expected = ["pass    files", "beauty    112", "leak        8"]
    assert expected == table_lines(("pass", "files"), [("beauty", 112), ("leak", 8)])


@pytest.mark.parametrize(
    ("count", "words"),
    # IEC 80000-13: the binary prefixes are powers of 1024.
    [(0, "0 bytes"), (1023, "1023 bytes"), (1024, "1.0 KiB"), (1610612736, "1.5 GiB")],
)
def test_sizes_are_in_powers_of_1024(count: int, words: str) -> None:
    assert words == size_words(count)
