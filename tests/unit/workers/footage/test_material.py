"""Which file a shot frame is read from, and what is said when it can't be."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from glimsum_jobs.errors import SourceError
from glimsum_jobs.measurements import Checked
from glimsum_workers.check_shot import check_shot
from glimsum_workers.engine.codes import FloatPixels, RgbCodes, VideoPlanes
from glimsum_workers.footage.material import Material
from glimsum_workers.frames.roots import Roots
from support.small_shots import exr_pass, flat, small_roots, small_shot, write_exr_pass
from unit.workers.frames.clip_making import write_clip


def level(number: int) -> float:
    """The light of file `number`: whole halves, so that nothing rounds."""
    return number / 64


@pytest.fixture
def plates(tmp_path: Path) -> Path:
    write_exr_pass(tmp_path, "key", {n: flat([level(n)] * 3) for n in range(1, 13)})
    return tmp_path


def material_of(plates: Path, each: dict[str, Any], **changes: Any) -> Material:
    job = small_shot(passes={"key": each}, **changes)
    roots = Roots(small_roots(plates))
    return Material(job, check_shot(job, roots), roots)


def read_levels(material: Material) -> list[float]:
    codes = [material.pass_codes("key", frame) for frame in (1001, 1002, 1003)]
    return [float(each.values[0, 0, 0]) for each in codes if isinstance(each, FloatPixels)]


# By hand: first + (frame - 1001) * step + start_offset, skipped shots not counted.
@pytest.mark.parametrize(
    ("each", "numbers"),
    [
        ({}, [1, 2, 3]),
        ({"first": 4}, [4, 5, 6]),
        ({"start_offset": 3}, [4, 5, 6]),
        ({"first": 2, "step": 3}, [2, 5, 8]),
        ({"first": 2, "step": 3, "skip": [5]}, [2, 8, 11]),
        ({"skip": [1, 3]}, [2, 4, 5]),
        ({"first": 5, "start_offset": -2}, [3, 4, 5]),
    ],
)
def test_a_frame_is_read_from_the_number_the_job_means(
    plates: Path, each: dict[str, Any], numbers: list[int]
) -> None:
    material = material_of(plates, exr_pass("key", **each))

    assert read_levels(material) == [level(number) for number in numbers]


def test_a_file_that_is_missing_is_read_from_its_stand_in(plates: Path) -> None:
    (plates / "key" / "key.0003.exr").unlink()
    material = material_of(plates, exr_pass("key", missing="nearest"))

    assert read_levels(material) == [level(1), level(2), level(2)]
    assert material.pass_fingerprint("key", 1003) == material.pass_fingerprint("key", 1002)


def test_a_file_gone_since_the_check_is_named_with_shot_pass_and_frame(plates: Path) -> None:
    material = material_of(plates, exr_pass("key"))
    (plates / "key" / "key.0002.exr").unlink()

    with pytest.raises(SourceError, match="no such file") as caught:
        material.pass_codes("key", 1002)

    place = caught.value.place
    assert (place.shot, place.pass_name, place.frame) == ("small", "key", 1002)
    assert place.file == "plates:key/key.0002.exr"


def test_an_average_reads_every_file_but_the_skipped(plates: Path) -> None:
    material = material_of(plates, exr_pass("key", skip=[2, 7]))

    assert material.file_numbers("key") == [1, 3, 4, 5, 6, 8, 9, 10, 11, 12]
    codes = material.file_codes("key", 12)
    assert isinstance(codes, FloatPixels)
    assert codes.values[0, 0, 0] == level(12)


def test_a_matte_counts_its_own_numbers(plates: Path) -> None:
    for number in range(5, 9):
        Image.new("L", (64, 36), number).save(plates / f"m.{number}.png")
    mattes = {"window": {"files": "plates:m.%d.png", "start_offset": 1}}
    recipe = [{"pass": "key", "matte": "window"}]
    material = material_of(plates, exr_pass("key"), mattes=mattes, recipe=recipe)

    codes = material.matte_codes("window", 1003)

    assert isinstance(codes, RgbCodes)
    assert codes.values[0, 0, 0] == 8
    assert material.matte_fingerprint("window", 1002) != material.matte_fingerprint("window", 1003)


def test_a_pass_that_was_not_checked_is_refused_by_name(plates: Path) -> None:
    job = small_shot(passes={"key": exr_pass("key")})
    nothing = Checked(passes={}, mattes={}, problems=(), needed_bytes=0, free_bytes=0)

    with pytest.raises(SourceError, match=r"pass key was not checked.*expected: key"):
        Material(job, nothing, Roots(small_roots(plates))).pass_codes("key", 1001)


def test_a_closed_material_opens_its_clip_again(plates: Path) -> None:
    write_clip(plates / "a.mp4", 4, tags=(1, 1))
    each = {
        "files": "plates:a.mp4",
        "space": "ocio:itu709_rec709_scene",
        "range": "limited",
        "exposure": {"stops": 0},
    }
    with material_of(plates, each) as material:
        before = material.pass_codes("key", 1002)
    after = material.pass_codes("key", 1002)
    material.close()

    assert isinstance(before, VideoPlanes)
    assert isinstance(after, VideoPlanes)
    assert after is not before
    np.testing.assert_array_equal(before.luma, after.luma)
