"""What a job may say of alignment frames, and what it is told where one would be of no use."""

from typing import Any

import pytest

from glimsum_jobs.errors import JobError
from glimsum_jobs.passes import AlignmentFrame
from glimsum_jobs.reading import read_shot
from unit.jobs.example_jobs import small_job

STILL = "plates:key_at_start.png"


def with_alignment(told: Any, name: str = "practicals", **more: Any) -> dict[str, Any]:
    tree = small_job()
    each = {**tree["passes"][name], "align": "similarity", "alignment_frame": told, **more}
    tree["passes"] = {**tree["passes"], name: each}
    return tree


def problems_of(tree: dict[str, Any]) -> str:
    with pytest.raises(JobError) as refused:
        read_shot(tree)
    return str(refused.value)


def test_a_file_name_alone_belongs_to_the_first_frame_and_is_read_as_the_pass_is() -> None:
    job, _ = read_shot(with_alignment(STILL))
    each = job.passes["practicals"]

    assert each.alignment == AlignmentFrame(file=STILL)
    assert job.alignment_number("practicals") == job.frames.first
    assert each.alignment_picture is not None
    assert (each.alignment_picture.files, each.alignment_picture.space) == (STILL, each.space)


def test_frame_and_space_can_be_said() -> None:
    told = {"file": STILL, "frame": 1003, "space": "ocio:acescct_ap1_scene"}
    job, _ = read_shot(with_alignment(told))

    picture = job.passes["practicals"].alignment_picture
    assert job.alignment_number("practicals") == 1003
    assert picture is not None
    assert picture.space == "ocio:acescct_ap1_scene"


@pytest.mark.parametrize(
    ("more", "seen"),
    [({"align": "none"}, "align: none"), ({"use": "ambient"}, "use: ambient")],
)
def test_one_that_would_not_be_used_is_refused(more: dict[str, Any], seen: str) -> None:
    told = problems_of(with_alignment(STILL, **more))

    assert "the alignment frame of pass practicals would not be used" in told
    assert seen in told


def test_the_reference_needs_none() -> None:
    assert "the reference itself" in problems_of(with_alignment(STILL, "beauty"))


def test_a_frame_outside_the_shot_is_refused_with_its_number() -> None:
    told = problems_of(with_alignment({"file": STILL, "frame": 990}))

    assert "frame: 990" in told
    assert "a frame from 1001 to" in told


def test_a_frame_on_which_the_lamp_is_out_is_refused() -> None:
    tree = with_alignment({"file": STILL, "frame": 1002})
    tree["recipe"] = [
        {"pass": "beauty"},
        {
            "pass": "practicals",
            "stops": [{"frame": 1002, "value": "out"}, {"frame": 1003, "value": 0}],
        },
    ]
    assert "pass practicals is out on the frame its alignment frame belongs to" in problems_of(tree)


def test_an_unknown_space_is_refused() -> None:
    assert "no_such_space" in problems_of(with_alignment({"file": STILL, "space": "no_such_space"}))
