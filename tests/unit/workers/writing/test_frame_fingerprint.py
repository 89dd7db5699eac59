"""The fingerprint of a frame: changed by all that changes its pixels, and by nothing else."""

import copy
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from glimsum_jobs.ledger import Stage
from glimsum_jobs.measurements import Solved
from glimsum_workers.combine_frame import ShotBench
from glimsum_workers.writing.frame_fingerprint import fingerprint_of
from support.harbour_jobs import merged
from support.run_here import HereRun, open_run, work_through
from support.small_shots import exr_pass, flat, grain, small_roots, small_shot, write_exr_pass

DARK = {"level": [0.01, 0.01, 0.01]}
BASE: dict[str, Any] = {
    "passes": {
        "key": exr_pass("key", ambient="leak", dark=DARK, level="steady"),
        "bulbs": exr_pass("bulbs"),
        "shape": exr_pass("shape"),
        "backing": exr_pass("backing", use="empty_backing"),
        "leak": exr_pass("leak", use="ambient", dark=DARK),
    },
    "mattes": {
        "window": {"files": "plates:window.png"},
        "set": {"pass": "shape", "empty": "backing"},
    },
    "unit": "key",
    "recipe": [
        {"pass": "key", "tint_mired": 20},
        {"pass": "bulbs", "stops": -0.5, "matte": "window"},
        {"pass": "bulbs", "stops": -2, "matte": "set", "operator": "over"},
    ],
}
Print = Callable[..., str]


@pytest.fixture(params=["locked", "moving"])
def camera(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture
def plates(tmp_path: Path) -> Path:
    for seed, name in enumerate(("key", "bulbs", "shape", "leak")):
        write_exr_pass(tmp_path, name, {n: grain(10 * seed + n) for n in (1, 2, 3)})
    write_exr_pass(tmp_path, "backing", {n: flat([0.9, 0.9, 0.9]) for n in (1, 2, 3)})
    Image.fromarray((grain(90)[..., 0] * 200).clip(0, 255).astype(np.uint8)).save(
        tmp_path / "window.png"
    )
    return tmp_path


def solved_run(plates: Path, version: int, changes: dict[str, Any]) -> HereRun:
    job = small_shot(**merged(BASE, changes))
    return work_through(open_run(job, small_roots(plates), version=version), until=Stage.COMBINE)


@pytest.fixture
def print_of(plates: Path, camera: str) -> Print:
    """Return the fingerprint of a frame of the changed job, measured anew."""
    versions = iter(range(1, 99))

    def printed(frame: int = 1002, **changes: Any) -> str:
        run = solved_run(plates, next(versions), {"camera": camera, **changes})
        return fingerprint_of(run.bench(), frame)

    return printed


def recipe(index: int, **changes: Any) -> dict[str, Any]:
    steps = copy.deepcopy(BASE["recipe"])
    steps[index] = merged(steps[index], changes)
    return {"recipe": steps}


CHANGES: dict[str, dict[str, Any]] = {
    "gain": recipe(1, stops=-0.6),
    "gain keyed elsewhere": recipe(1, stops=[{"frame": 1001, "value": -0.5},
                                             {"frame": 1003, "value": 0.5}]),
    "tint": recipe(0, tint_mired=21),
    "lamp": recipe(0, lamp_kelvin=2800),
    "matte taken away": recipe(1, matte=None),
    "matte turned round": {"mattes": {"window": {"invert": True}}},
    "operator": recipe(2, operator="atop"),
    "order": {"recipe": [BASE["recipe"][i] for i in (1, 0, 2)]},
    "dark level": {"passes": {"key": {"dark": {"level": [0.02, 0.01, 0.01]}}}},
    "dark level of the ambient": {"passes": {"leak": {"dark": {"level": [0.02, 0.01, 0.01]}}}},
    "dark level of the backing": {"passes": {"backing": {"dark": DARK}}},
    "exposure": {"passes": {"bulbs": {"exposure": {"stops": 0.1}}}},
    "exposure of the unit": {"passes": {"key": {"exposure": {"stops": 0.1}}}},
    "exposure of the ambient": {"passes": {"leak": {"exposure": {"stops": 0.1}}}},
    "exposure of the backing": {"passes": {"backing": {"exposure": {"stops": 0.1}}}},
    "white balance": {"passes": {"bulbs": {"white_balance": {"gains": [1.1, 1, 1]}}}},
    "white balance of the ambient": {"passes": {"leak": {"white_balance": {"gains": [2, 1, 1]}}}},
    "space of a pass": {"passes": {"bulbs": {"space": "lin_rec709_scene"}}},
    "space of the ambient": {"passes": {"leak": {"space": "lin_rec709_scene"}}},
    "space of the backing": {"passes": {"backing": {"space": "lin_rec709_scene"}}},
    "working space": {"space": "lin_rec709_scene"},
    "ambient taken away": {"passes": {"key": {"ambient": None}}},
    "ambient of a matte": {"passes": {"shape": {"ambient": "leak"}}},
    "ambient of a backing": {"passes": {"backing": {"ambient": "leak"}}},
    "level": {"passes": {"key": {"level": "follow"}}},
    "start offset": {"passes": {"bulbs": {"start_offset": 1, "missing": "nearest"}}},
    "stored form": {"masters": [{"pixel": "float"}]},
}  # fmt: skip


@pytest.mark.parametrize("change", CHANGES)
def test_what_changes_the_pixels_changes_the_fingerprint(print_of: Print, change: str) -> None:
    assert print_of(**CHANGES[change]) != print_of()


@pytest.mark.parametrize("name", ["key", "bulbs", "shape", "backing", "leak", "window"])
def test_one_byte_of_any_file_used_changes_it(print_of: Print, plates: Path, name: str) -> None:
    before = print_of()
    path = plates / "window.png" if name == "window" else plates / name / f"{name}.0002.exr"

    if name == "window":
        with Image.open(path) as picture:
            pixels = np.array(picture)
        pixels[0, 0] ^= 1
        Image.fromarray(pixels).save(path)
    else:
        picture_now = grain(77)
        write_exr_pass(plates, name, {2: picture_now})
    os.utime(path, ns=(0, 12345))

    assert print_of() != before


@pytest.mark.parametrize(
    "change",
    [
        {"viewing": {"width": 96}},
        {"viewing": {"movie": "h264"}},
        {"output": "out:elsewhere"},
        {"shot": "renamed"},
        {"rate": 25},
        {"handles": {"head": 1, "tail": 1}},
        {"reference": "bulbs"},
        {"passes": {"spare": exr_pass("bulbs")}},
        {"passes": {"leak": {"missing": "nearest"}}},
        recipe(0, fade="stops"),
        recipe(1, lamp_kelvin=2800),
        recipe(1, stops=[{"frame": 1001, "value": 3}, {"frame": 1002, "value": -0.5}]),
    ],
    ids=str,
)
def test_what_changes_no_pixel_of_the_frame_does_not_change_it(
    print_of: Print, change: dict[str, Any]
) -> None:
    assert print_of(**change) == print_of()


def test_another_frame_has_another_fingerprint_and_the_same_files_moved_the_same(
    print_of: Print, plates: Path
) -> None:
    before = print_of()
    assert print_of(1001) != before

    for name in ("key", "bulbs"):
        (plates / name).rename(plates / f"{name}_moved")
    passes = {name: {"files": f"plates:{name}_moved/{name}.%04d.exr"} for name in ("key", "bulbs")}

    assert print_of(passes=passes) == before


def test_a_level_solved_otherwise_changes_it(plates: Path) -> None:
    run = solved_run(plates, 1, {})
    right = run.bench()
    tree = run.solved.model_dump()
    tree["levels"]["key"]["gains"][1002] *= 1.01
    other = ShotBench(
        right.job, right.checked, Solved.model_validate(tree), run.roots, right.averages._keep
    )

    assert fingerprint_of(other, 1002) != fingerprint_of(right, 1002)
    assert fingerprint_of(other, 1003) == fingerprint_of(right, 1003)


def test_a_lamp_that_is_out_needs_no_file_and_its_pass_plays_no_part(
    print_of: Print, plates: Path
) -> None:
    out = {"recipe": [{"pass": "key"}, {"pass": "bulbs", "stops": "out"}]}
    before = print_of(**out)

    write_exr_pass(plates, "bulbs", {2: grain(78)})

    assert print_of(**out) == before
