"""Paths of a job become the same place on every machine."""

from pathlib import Path

import pytest

from glimsum_jobs.errors import JobError
from glimsum_jobs.shot import ShotJob
from glimsum_services.rooted import below, check_rooted, root_job
from support.api_work import SHOT


def job(files: str, output: str = "out:mole_040") -> ShotJob:
    beauty = SHOT["passes"]["beauty"] | {"files": files}
    return ShotJob.model_validate(SHOT | {"passes": {"beauty": beauty}, "output": output})


ROOTS = {"plates": Path("/mnt/plates"), "night": Path("/mnt/plates/night"), "out": Path("/mnt/out")}


@pytest.mark.parametrize(
    ("files", "expected"),
    [
        ("beauty/b.%04d.png", "plates:day/mole/beauty/b.%04d.png"),
        ("../../night/b.%04d.png", "night:b.%04d.png"),
        ("/mnt/plates/nightly/b.mov", "plates:nightly/b.mov"),
        ("plates:x/b.png", "plates:x/b.png"),
    ],
)
def test_the_innermost_root_that_holds_a_path_names_it(files: str, expected: str) -> None:
    rooted = root_job(job(files), Path("/mnt/plates/day/mole"), ROOTS)
    assert rooted.passes["beauty"].files == expected


def test_a_path_in_no_root_is_refused_with_the_roots_that_are_known() -> None:
    words = (
        r"lies in no root.*pass beauty, file \.\./b\.%04d\.png, field passes\.beauty\.files\); "
        r"seen: /home/b\.%04d\.png; expected: .*out=/mnt/out.*--root NAME=FOLDER"
    )
    with pytest.raises(JobError, match=words):
        root_job(job("../b.%04d.png"), Path("/home/me"), ROOTS)


def test_all_paths_are_named_at_once() -> None:
    with pytest.raises(JobError) as caught:
        root_job(job("b.png", output="done"), Path("/home/me"), {})
    assert [p.place.field for p in caught.value.problems] == ["passes.beauty.files", "output"]


@pytest.mark.parametrize(
    "files", ["b.png", "/mnt/plates/b.png", "plates:../b.png", "plates:", "plates:a\x00b", "a/b:c"]
)
def test_the_service_takes_nothing_but_rooted_paths(files: str) -> None:
    with pytest.raises(JobError, match="the paths of shot mole_040 can't be used"):
        check_rooted(job(files))


def test_a_rooted_job_passes() -> None:
    check_rooted(ShotJob.model_validate(SHOT))


def test_files_of_elements_are_paths_too() -> None:
    rain = {"rain": {"files": "rain.mov", "space": "srgb_rec709_scene", "range": "limited"}}
    told = SHOT | {"elements": rain}
    with pytest.raises(JobError, match=r"elements\.rain\.files"):
        check_rooted(ShotJob.model_validate(told))
    rooted = root_job(ShotJob.model_validate(told), Path("/mnt/plates/day"), ROOTS)
    assert rooted.elements["rain"].files == "plates:day/rain.mov"
    assert below({"passes": {}, "elements": {"rain": {"files": "r.mov"}}}, "day") == {
        "passes": {},
        "elements": {"rain": {"files": "day/r.mov"}},
    }


def test_a_job_in_a_folder_below_keeps_meaning_its_own_files() -> None:
    tree = {
        "output": "out",
        "passes": {"a": {"files": "a.%d.png"}, "b": {"files": "plates:b.png"}},
        "mattes": {"m": {"files": "/m.png"}, "k": {"pass": "a"}},
    }
    assert below(tree, "day") == {
        "output": "day/out",
        "passes": {"a": {"files": "day/a.%d.png"}, "b": {"files": "plates:b.png"}},
        "mattes": {"m": {"files": "/m.png"}, "k": {"pass": "a"}},
    }
