"""Which detail of a picture is prepared for which registration, and that it is kept apart."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from glimsum_workers.check_shot import check_shot
from glimsum_workers.engine.codes import Codes
from glimsum_workers.engine.motion import Registration
from glimsum_workers.engine.registration.bands import ACROSS_LIGHTS, GENERAL, Band
from glimsum_workers.engine.registration.prepared import Prepared
from glimsum_workers.engine.registration.register import register
from glimsum_workers.footage.material import Material
from glimsum_workers.frames.kept import Keep
from glimsum_workers.frames.roots import Roots
from glimsum_workers.measuring.prepared_pictures import PreparedPictures
from glimsum_workers.measuring.track_shot import Tracker
from support.near_and_far import Layers
from support.small_shots import exr_pass, small_roots, small_shot, write_exr_pass

FRAMES = (1001, 1002, 1003)


@pytest.fixture(scope="module")
def plates(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder, scene = tmp_path_factory.mktemp("detail"), Layers(5)
    for name, gain in (("beauty", 1.0), ("lamp", 0.4)):
        seen = {n: gain * scene.see((3.0 * (n - 1002), 0.0), (n - 1002, 0.0)) for n in FRAMES}
        write_exr_pass(folder, name, {n: each.astype(np.float32) for n, each in seen.items()})
    return folder


def tracker_of(plates: Path, keep: Path, camera: str, align: str) -> Tracker:
    job = small_shot(
        camera=camera,
        passes={"beauty": exr_pass("beauty"), "lamp": exr_pass("lamp", align=align)},
        recipe=[{"pass": "lamp"}],
    )
    roots = Roots(small_roots(plates))
    return Tracker(job, Material(job, check_shot(job, roots), roots), Keep(keep))


@pytest.mark.parametrize(
    ("shot", "used"),
    [
        (("moving", "similarity"), [(False, ACROSS_LIGHTS)]),
        (("moving", "affine"), [(False, ACROSS_LIGHTS)]),
        (("moving", "field"), [(False, GENERAL)]),
        (("locked", "similarity"), [(False, ACROSS_LIGHTS), (True, GENERAL)]),
        (("locked", "field"), [(False, ACROSS_LIGHTS), (True, GENERAL)]),
    ],
)
def test_finer_detail_is_used_across_lights_unless_parallax_is_sought(
    plates: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    shot: tuple[str, str],
    used: list[tuple[bool, Band]],
) -> None:
    seen: list[tuple[bool, Band]] = []

    def note(one: Prepared, two: Prepared, *, same_light: bool, **more: Any) -> Registration:
        assert one.detail == two.detail
        seen.append((same_light, one.detail))
        return register(one, two, same_light=same_light, **more)

    monkeypatch.setattr("glimsum_workers.measuring.track_shot.register", note)
    tracker_of(plates, tmp_path, *shot).track("lamp", 1003)

    assert list(dict.fromkeys(seen)) == used


@pytest.fixture
def read(monkeypatch: pytest.MonkeyPatch) -> list[tuple[str, int]]:
    """Return what grows by pass and frame of every file that is read."""
    seen: list[tuple[str, int]] = []
    codes = Material.pass_codes

    def note(material: Material, name: str, frame: int) -> Codes:
        seen.append((name, frame))
        return codes(material, name, frame)

    monkeypatch.setattr(Material, "pass_codes", note)
    return seen


def test_a_file_that_is_needed_for_both_is_read_once(
    plates: Path, tmp_path: Path, read: list[tuple[str, int]]
) -> None:
    tracker = tracker_of(plates, tmp_path, "locked", "similarity")
    for frame in FRAMES:
        tracker.track("lamp", frame)

    assert sorted(each for each in read if each[0] == "lamp") == [("lamp", n) for n in FRAMES]


def test_a_file_that_is_needed_for_one_detail_after_the_other_is_read_once(
    plates: Path, tmp_path: Path, read: list[tuple[str, int]]
) -> None:
    """As on the first frame of a camera that moves: against the reference, then by itself."""
    job = small_shot(
        camera="moving",
        passes={"beauty": exr_pass("beauty"), "lamp": exr_pass("lamp", align="similarity")},
        recipe=[{"pass": "lamp"}],
    )
    roots = Roots(small_roots(plates))
    with Material(job, check_shot(job, roots), roots) as material:
        pictures = PreparedPictures(job, material, Keep(tmp_path / "one"))
        one, other = (pictures.get("lamp", 1002, band) for band in (ACROSS_LIGHTS, GENERAL))
        assert read == [("lamp", 1002)]
        alone = PreparedPictures(job, material, Keep(tmp_path / "other"))
        for ready in (other, one):
            again = alone.get("lamp", 1002, ready.detail)
            for level, same in zip(ready.levels, again.levels, strict=True):
                np.testing.assert_array_equal(level.band, same.band)


def test_one_file_of_two_passes_is_decoded_as_each_says(plates: Path, tmp_path: Path) -> None:
    """Of the last picture that is kept at hand the pass counts too, not its file alone."""
    cut = {"x": 16, "y": 0, "width": 64, "height": 48}
    job = small_shot(
        camera="moving",
        passes={
            "beauty": exr_pass("beauty"),
            "lamp": exr_pass("lamp"),
            "part": {**exr_pass("lamp"), "crop": cut},
        },
        recipe=[{"pass": "lamp"}],
    )
    roots = Roots(small_roots(plates))
    with Material(job, check_shot(job, roots), roots) as material:
        pictures = PreparedPictures(job, material, Keep(tmp_path))
        sizes = [pictures.get(name, 1002, ACROSS_LIGHTS).size for name in ("lamp", "part")]

    assert sizes[1] == (48, 64) != sizes[0]


def test_each_detail_of_a_picture_is_kept_for_itself(plates: Path, tmp_path: Path) -> None:
    job = small_shot(passes={"beauty": exr_pass("beauty")}, recipe=[{"pass": "beauty"}])
    roots = Roots(small_roots(plates))
    material = Material(job, check_shot(job, roots), roots)

    def get(band: Band) -> Prepared:
        return PreparedPictures(job, material, Keep(tmp_path)).get("beauty", 1002, band)

    made = {band: get(band) for band in (GENERAL, ACROSS_LIGHTS)}

    assert not np.array_equal(made[GENERAL].levels[0].band, made[ACROSS_LIGHTS].levels[0].band)
    for band, ready in made.items():
        again = get(band)
        assert again.detail == ready.detail == band
        np.testing.assert_array_equal(again.levels[0].band, ready.levels[0].band)
