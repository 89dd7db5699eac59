import pytest

from glimsum_jobs.errors import JobError
from glimsum_jobs.sequence import is_sequence, read_sequence
from unit.jobs.example_jobs import small_job


def test_shots_share_what_the_defaults_say() -> None:
    defaults = small_job()
    del defaults["shot"], defaults["output"]
    tree = {
        "glimsum": 1,
        "sequence": "mole",
        "defaults": defaults,
        "shots": [
            {"shot": "mole_010", "output": "out:mole_010"},
            {
                "shot": "mole_020",
                "output": "out:mole_020",
                "passes": {"practicals": {"exposure": {"stops": -2}}},
            },
        ],
    }

    name, jobs, remarks = read_sequence(tree)

    assert is_sequence(tree)
    assert (name, remarks) == ("mole", [])
    assert [job.shot for job in jobs] == ["mole_010", "mole_020"]
    exposures = [job.passes["practicals"].exposure for job in jobs]
    assert [each.stops for each in exposures if each is not None] == [-1.5, -2]


def test_a_shot_that_stands_twice_is_refused_by_name() -> None:
    tree = {"glimsum": 1, "sequence": "mole", "shots": [small_job(), small_job()]}
    with pytest.raises(JobError, match=r"a shot stands twice.*seen: mole_040"):
        read_sequence(tree)


def test_problems_of_all_shots_come_at_once() -> None:
    tree = {
        "glimsum": 1,
        "sequence": "mole",
        "shots": [small_job(rate=0), small_job(shot="mole_050", camera="crane")],
    }
    with pytest.raises(JobError) as caught:
        read_sequence(tree)
    assert [(p.place.shot, p.place.field) for p in caught.value.problems] == [
        ("mole_040", "rate"),
        ("mole_050", "camera"),
    ]


def test_a_field_that_no_sequence_has_is_refused() -> None:
    tree = {"glimsum": 1, "sequence": "mole", "shot": [], "shots": [small_job()]}
    with pytest.raises(JobError, match=r"no field of a sequence.*seen: shot"):
        read_sequence(tree)
