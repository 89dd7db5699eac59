"""Takes from their files into the frame: mean and median, lacking frames, clipped pixels, drift."""

from pathlib import Path
from typing import Any

import numpy as np
import OpenImageIO
import pytest
from numpy.typing import NDArray

from glimsum_jobs.errors import JobError
from glimsum_jobs.ledger import ItemState, Stage
from glimsum_jobs.problems import Rank
from support.run_here import HereRun, read_exr, run_here
from support.small_shots import (
    exr_pass,
    grain,
    raw_small_shot,
    small_roots,
    small_shot,
    write_exr_pass,
)

FRAMES = (1001, 1002, 1003)


def takes_of(folder: Path, count: int, how: str = "mean", **more: Any) -> dict[str, Any]:
    """Write `count` takes, each of its own grain, and return the parts of a job over them."""
    names = [f"haze_{letter}" for letter in "abcdefgh"[:count]]
    for index, name in enumerate(names):
        pictures = {frame: grain(frame + 100 * index) for frame in FRAMES}
        write_exr_pass(folder, name, pictures)
    return {
        "passes": {name: exr_pass(name) for name in names},
        "takes": {"haze": {"of": names, "combine": how} | more},
    }


def run(folder: Path, parts: dict[str, Any]) -> HereRun:
    return run_here(small_shot(**parts), small_roots(folder))


def taken(count: int, frame: int) -> NDArray[np.float32]:
    return np.stack([grain(frame + 100 * index) for index in range(count)])


@pytest.mark.parametrize("how", ["mean", "median"])
def test_takes_are_combined_and_not_added_by_themselves(tmp_path: Path, how: str) -> None:
    done = run(tmp_path, takes_of(tmp_path, 3, how))

    made = read_exr(done.master(1002))
    together = np.mean if how == "mean" else np.median
    wanted = np.asarray(together(taken(3, 1002), axis=0))
    # Half floats: 11 bits.
    np.testing.assert_allclose(made, wanted, rtol=2**-10, atol=1e-6)


def test_a_take_counts_by_the_light_it_received(tmp_path: Path) -> None:
    parts = takes_of(tmp_path, 2)
    parts["passes"]["haze_b"]["exposure"] = {"stops": 2}

    done = run(tmp_path, parts)

    first, second = taken(2, 1001)
    np.testing.assert_allclose(
        read_exr(done.master(1001)), (first + second / 4 * 4) / 5, rtol=2**-10, atol=1e-6
    )


def test_a_take_that_lacks_a_frame_is_left_out_there_with_a_remark(tmp_path: Path) -> None:
    parts = takes_of(tmp_path, 3)
    (tmp_path / "haze_b" / "haze_b.1002.exr").unlink()

    done = run(tmp_path, parts)

    assert done.checked.passes["haze_b"].lacking == (1002,)
    without = np.delete(taken(3, 1002), 1, axis=0).mean(axis=0)
    np.testing.assert_allclose(read_exr(done.master(1002)), without, rtol=2**-10, atol=1e-6)
    told = [
        problem
        for problem in done.checked.problems
        if "take haze_b is left out of haze on this frame" in problem.what
    ]
    assert [(problem.rank, problem.place.frame) for problem in told] == [(Rank.REMARK, 1002)]
    assert "no file with number 1002" in told[0].seen


def test_a_frame_that_no_take_has_is_set_aside(tmp_path: Path) -> None:
    parts = takes_of(tmp_path, 2)
    for letter in "ab":
        (tmp_path / f"haze_{letter}" / f"haze_{letter}.1002.exr").unlink()

    done = run(tmp_path, parts)

    assert done.items(Stage.COMBINE)["1002"].state is ItemState.SET_ASIDE
    assert sorted(done.combined) == [1001, 1003]


def test_a_take_that_turns_out_damaged_is_left_out_with_a_remark(tmp_path: Path) -> None:
    parts = takes_of(tmp_path, 3)
    # Ramps are stored compressed, so that damage can't pass for light.
    ramp = np.linspace(0, 1, 36 * 64 * 3, dtype=np.float32).round(2).reshape(36, 64, 3)
    (file,) = write_exr_pass(tmp_path, "haze_c", {1003: ramp})
    data = bytearray(file.read_bytes())
    middle = len(data) // 2
    data[middle : middle + 60] = bytes(60)
    file.write_bytes(bytes(data))

    done = run(tmp_path, parts)

    without = taken(3, 1003)[:2].mean(axis=0)
    np.testing.assert_allclose(read_exr(done.master(1003)), without, rtol=2**-10, atol=1e-6)
    (told,) = done.combined[1003].remarks
    assert "take haze_c is left out of haze on this frame" in told.what
    assert (told.place.pass_name, told.place.frame) == ("haze_c", 1003)


def test_clipped_pixels_come_from_the_take_that_has_them(tmp_path: Path) -> None:
    # The second take was stopped down by two stops: it holds what the first one clips.
    light: Any = np.full((36, 64, 3), 0.25, np.float32)
    light[10:20, 10:20] = 2.0
    for name, exposed in (("haze_a", light), ("haze_b", light / 4)):
        (tmp_path / name).mkdir()
        codes: Any = np.round(np.clip(exposed, 0, 1) * 65535).astype(np.uint16)
        for frame in FRAMES:
            picture = OpenImageIO.ImageBuf(codes)
            assert picture.write(str(tmp_path / name / f"{name}.{frame}.tif"))
    space = {"space": "lin_ap1_scene", "align": "none"}
    parts = {
        "passes": {
            "haze_a": {"files": "plates:haze_a/haze_a.%04d.tif", "exposure": {"stops": 0}} | space,
            "haze_b": {"files": "plates:haze_b/haze_b.%04d.tif", "exposure": {"stops": -2}} | space,
        },
        "takes": {"haze": {"of": ["haze_a", "haze_b"]}},
    }

    done = run(tmp_path, parts)

    made = read_exr(done.master(1002))
    np.testing.assert_allclose(made[12:18, 12:18], 2.0, rtol=1e-3)
    np.testing.assert_allclose(made[30:, 30:], 0.25, rtol=1e-3)
    assert done.combined[1002].figures["clipped_share:haze"] == 0


def test_other_takes_make_another_fingerprint(tmp_path: Path) -> None:
    parts = takes_of(tmp_path, 3)
    mean = run(tmp_path, parts)
    parts["takes"]["haze"]["combine"] = "median"
    (tmp_path / "two").mkdir()
    median = run_here(small_shot(**parts, output="out:two"), small_roots(tmp_path))

    told = {each.combined[1001].fingerprint for each in (mean, median)}
    assert len(told) == 2


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"takes": {"haze": {"of": ["haze_a"]}}}, "at least 2"),
        ({"takes": {"haze": {"of": ["haze_a", "haze_a"]}}}, "each take once"),
        ({"takes": {"haze": {"of": ["haze_a", "haze_x"]}}}, "there is no pass called haze_x"),
        ({"takes": {"haze_a": {"of": ["haze_a", "haze_b"]}}}, "takes called haze_a"),
        (
            {"takes": {"haze": {"of": ["haze_a", "haze_b"], "sigma": 4}}},
            "sigma only with 5 takes or more",
        ),
        (
            {
                "takes": {
                    "haze": {"of": ["haze_a", "haze_b"]},
                    "fog": {"of": ["haze_a", "haze_b"]},
                }
            },
            "a take of 2 lights",
        ),
        ({"passes": {"haze_b": {"use": "ambient"}}}, "pass haze_b is no take of a light"),
    ],
)
def test_takes_that_make_no_sense_are_refused(
    tmp_path: Path, changes: dict[str, Any], message: str
) -> None:
    parts = {
        "passes": {name: exr_pass(name) for name in ("haze_a", "haze_b")},
        "takes": {"haze": {"of": ["haze_a", "haze_b"]}},
    }
    if "takes" in changes:
        parts["takes"] = changes["takes"]
    else:
        parts["passes"]["haze_b"] |= changes["passes"]["haze_b"]

    with pytest.raises(JobError) as refused:
        small_shot(**raw_small_shot(**parts))
    assert message in str(refused.value) + str([str(p) for p in refused.value.problems])
