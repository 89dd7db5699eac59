"""Mattes of a shot from the job and its files: every kind, joined, changed and followed."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from glimsum_jobs.errors import LightError
from glimsum_jobs.follows import Follow, FollowedFrame
from glimsum_jobs.ledger import Stage
from glimsum_jobs.mattes import ShapeMatte
from glimsum_workers.combine_frame import ShotBench
from glimsum_workers.frames.roots import Roots
from glimsum_workers.looking.matte_still import make_matte_still
from glimsum_workers.looking.one_frame import make_still
from glimsum_workers.steps.mattes import ShotMattes
from glimsum_workers.writing.frame_fingerprint import matte_fingerprint
from support.run_here import open_run, work_through
from support.small_shots import exr_pass, flat, small_roots, small_shot, write_exr_pass

BOX = [[10.5, 5], [30, 5], [30, 25], [10.5, 25]]
"""19.5 x 20 pixels: column 10 is half covered."""
MOVED = [[18.5, 9], [38, 9], [38, 29], [18.5, 29]]
MATTES: dict[str, Any] = {
    "box": {"shape": [{"frame": 1001, "points": BOX}, {"frame": 1003, "points": MOVED}]},
    "soft": {"shape": [{"frame": 1001, "points": BOX}], "feather": {"outside": 4}},
    "larger": {"this": "box", "without": "none", "grow": 2},
    "smaller": {"any_of": ["box"], "grow": -2.5, "invert": True},
    "blurred": {"all_of": ["box"], "soften": 3},
    "bright": {"luminance_of": "key", "low": 0.2, "high": 0.5},
    "band": {
        "luminance_of": "key", "low": 0.2, "high": 0.3, "until": {"low": 0.9, "high": 1.1}
    },
    "moved": {"difference": "key", "plate": "clean"},
    "set": {"pass": "shape", "empty": "backing"},
    "drawn": {"files": "plates:drawn.png"},
    "none": {"files": "plates:drawn.png", "soften": 0, "invert": False},
    "both": {"all_of": ["box", "drawn"]},
    "either": {"any_of": ["box", "drawn"]},
    "rest": {"this": "box", "without": "drawn"},
    "turned": {"this": "both", "without": "rest", "invert": True},
}  # fmt: skip


def key_light() -> NDArray[np.float32]:
    """Return three upright bands of grey: 0.1, 0.35 and 1."""
    light = flat([0.1, 0.1, 0.1])
    light[:, 20:40] = 0.35
    light[:, 40:] = 1
    return light


@pytest.fixture
def plates(tmp_path: Path) -> Path:
    key, shape = key_light(), flat([0.8, 0.8, 0.8])
    shape[10:, 30:] = 0
    shape[10:, 29] = 0.2
    clean = key.copy()
    clean[8:20, 44:56] = 0.5
    random = np.random.default_rng(0)
    for name, light in (("key", key), ("clean", clean), ("shape", shape)):
        noise = [random.normal(0, 0.002, light.shape).astype(np.float32) for _ in range(3)]
        pictures = {n: light + noise[n - 1] * (name != "shape") for n in (1, 2, 3)}
        write_exr_pass(tmp_path, name, pictures)
    write_exr_pass(tmp_path, "backing", {n: flat([0.8, 0.8, 0.8]) for n in (1, 2, 3)})
    drawn = np.zeros((36, 64), np.uint8)
    drawn[:15] = 51
    Image.fromarray(drawn).save(tmp_path / "drawn.png")
    return tmp_path


def job_of(mattes: dict[str, Any], used: str, **more: Any) -> Any:
    passes = {name: exr_pass(name) for name in ("key", "clean", "shape")}
    passes["backing"] = exr_pass("backing", use="empty_backing")
    recipe = [{"pass": "key"}, {"pass": "key", "matte": used}]
    return small_shot(passes=passes, mattes=mattes, recipe=recipe, **more)


def bench_of(plates: Path, mattes: dict[str, Any], used: str) -> ShotBench:
    run = open_run(job_of(mattes, used), small_roots(plates))
    return work_through(run, until=Stage.COMBINE).bench()


@pytest.fixture
def bench(plates: Path) -> ShotBench:
    """Return the solved shot with a recipe that needs every matte that needs passes."""
    every = {"any_of": [name for name in MATTES if name != "turned"] + ["turned"]}
    return bench_of(plates, {**MATTES, "every": every}, "every")


def test_every_kind_gives_the_weights_of_its_definition(bench: ShotBench) -> None:
    def made(name: str, frame: int = 1001) -> NDArray[np.float32]:
        weight = bench.mattes.on_frame(name, frame, bench.solved)
        assert weight.shape == (36, 64)
        assert weight.dtype == np.float32
        assert 0 <= weight.min() <= weight.max() <= 1
        return weight

    # Areas by hand: 19.5 x 20, half of column 10; on frame 1002 the box is 4 right, 2 down.
    assert float(made("box").sum()) == pytest.approx(390)
    assert made("box")[10, 10] == pytest.approx(0.5)
    assert made("box", 1002)[10, 14] == pytest.approx(0.5)
    assert (made("box", 1002)[8:26, 15:33] == 1).all()
    # Between 0.2 and 0.5 evenly: 0.35 lies half way. Noise of 0.002 is 0.007 of the way.
    np.testing.assert_allclose(made("bright")[:, 20:40], 0.5, atol=0.04)
    assert float(made("bright")[:, 20:40].mean()) == pytest.approx(0.5, abs=0.001)
    assert (made("bright")[:, :20] == 0).all()
    assert (made("bright")[:, 40:] == 1).all()
    assert float(made("band")[:, 40:].mean()) == pytest.approx(0.5, abs=0.002)
    # What the plate does not have, and nothing else.
    assert (made("moved")[8:20, 44:56] == 1).all()
    assert float(made("moved").sum()) == pytest.approx(144, abs=1)
    # 1 - S / W: 0, 1, and 1 - 0.2 / 0.8 in the column between.
    assert (made("set")[11:, 31:] == 1).all()
    assert (made("set")[:9] == 0).all()
    np.testing.assert_allclose(made("set")[12:, 29], 0.75, atol=1e-5)
    # 51 / 255.
    np.testing.assert_allclose(made("drawn")[:15], 0.2, atol=1e-6)


def test_joined_mattes_are_products_of_what_they_keep_and_leave(bench: ShotBench) -> None:
    def made(name: str) -> NDArray[np.float32]:
        return bench.mattes.on_frame(name, 1001, bench.solved)

    box, drawn = made("box"), made("drawn")

    np.testing.assert_allclose(made("both"), box * drawn, atol=1e-6)
    np.testing.assert_allclose(made("either"), box + drawn - box * drawn, atol=1e-6)
    np.testing.assert_allclose(made("rest"), box * (1 - drawn), atol=1e-6)
    np.testing.assert_allclose(made("turned"), 1 - box * drawn * (1 - box * (1 - drawn)), atol=1e-6)


def test_it_is_grown_then_softened_then_turned_round(bench: ShotBench) -> None:
    def made(name: str) -> NDArray[np.float32]:
        return bench.mattes.on_frame(name, 1001, bench.solved)

    # Shrunk by 2.5 px each side: (19.5 - 5) x (20 - 5), turned round.
    assert float((1 - made("smaller")).sum()) == pytest.approx(14.5 * 15, rel=0.01)
    # A Gaussian moves weight and loses none but what it takes over the border, 1.7 sigmas off.
    assert float(made("blurred").sum()) == pytest.approx(390, rel=5e-3)
    assert made("blurred")[15, 10] == pytest.approx(0.5, abs=0.07)
    # 4 px outside alone: 1 up to the outline, 0.5 half way at 2 px, 0 from 4 px.
    assert (made("soft")[10:20, 12:28] == 1).all()
    assert made("soft")[15, 31] + made("soft")[15, 32] == pytest.approx(1, abs=1e-3)
    assert made("soft")[15, 35] == 0


def shifts(**by: tuple[float, float]) -> dict[int, FollowedFrame]:
    return {
        int(frame.removeprefix("f")): FollowedFrame(
            matrix=(1, 0, x, 0, 1, y, 0, 0, 1), sigma_px=0.1, trusted=True
        )
        for frame, (x, y) in by.items()
    }


def test_an_outline_goes_where_the_reference_does_whatever_frame_it_was_keyed_on(
    bench: ShotBench,
) -> None:
    tree = {"shape": [{"frame": 1002, "points": BOX}], "follow": "reference"}
    two = {"shape": [{"frame": 1001, "points": BOX}, {"frame": 1003, "points": MOVED}]}
    job = job_of(MATTES, "box").model_copy(
        update={"mattes": shapes({"one": tree, "two": {**two, "follow": "reference"}})}
    )
    mattes = ShotMattes(job, bench.material, bench.light, bench.averages)
    found = shifts(f1001=(0, 0), f1002=(3, 1), f1003=(8, 4))
    follows = {f"matte:{name}": Follow(anchor=1001, frames=found) for name in ("one", "two")}
    solved = bench.solved.model_copy(update={"follows": follows})

    # Keyed on 1002, where the reference is 3 right and 1 down of 1001, and 5, 3 short of 1003.
    for frame, off in ((1001, (-3, -1)), (1002, (0, 0)), (1003, (5, 3))):
        np.testing.assert_allclose(
            mattes.outline("one", frame, solved), np.array(BOX) + off, atol=1e-9
        )
    # MOVED is BOX where the reference takes it: between both keys nothing moves by itself.
    np.testing.assert_allclose(
        mattes.outline("two", 1002, solved), np.array(BOX) + np.array((3, 1)), atol=1e-9
    )
    assert float(mattes.on_frame("one", 1003, solved).sum()) == pytest.approx(390)
    lost = bench.solved.model_copy(
        update={"follows": {"matte:one": Follow(anchor=1001, frames=shifts(f1001=(0, 0)))}}
    )
    with pytest.raises(LightError, match=r"matte one follows .*frame 1003.*1 frames followed"):
        mattes.on_frame("one", 1003, lost)


def shapes(mattes: dict[str, Any]) -> dict[str, ShapeMatte]:
    return {name: ShapeMatte.model_validate(told) for name, told in mattes.items()}


def test_an_outline_that_moves_is_told_apart_frame_by_frame(bench: ShotBench) -> None:
    def told(name: str) -> int:
        return len({str(matte_fingerprint(bench, name, frame)) for frame in (1001, 1002, 1003)})

    assert (told("box"), told("soft"), told("larger")) == (3, 1, 3)


def test_a_matte_no_step_asks_for_can_be_looked_at(plates: Path) -> None:
    job = job_of({"set": MATTES["set"], "drawn": MATTES["drawn"]}, "drawn")

    made = make_matte_still(job, "set", 1002, Roots(small_roots(plates)), plates / "kept")

    np.testing.assert_allclose(made.rgb[12:, 29, 0], 0.75, atol=1e-5)


def test_an_error_names_the_matte_it_comes_from(plates: Path) -> None:
    mattes = {"sky": {"pass": "shape"}, "held": {"all_of": ["sky"]}}
    write_exr_pass(plates, "shape", {n: flat([0.0, 0.0, 0.0]) for n in (1, 2, 3)})
    bench = bench_of(plates, mattes, "held")

    with pytest.raises(LightError, match=r"frame 1002, field mattes.sky.*0 even blocks") as caught:
        bench.mattes.on_frame("held", 1002, bench.solved)
    assert "empty" in caught.value.remedy


def test_a_step_is_weighed_by_a_shape_in_the_finished_frame(plates: Path) -> None:
    mattes = {"box": {"shape": [{"frame": 1001, "points": BOX}]}}

    made = make_still(job_of(mattes, "box"), 1002, Roots(small_roots(plates)), plates / "kept")

    # The key once, and once more inside the box; half of it in column 10.
    bare = make_still(
        job_of({"box": {"files": "plates:drawn.png", "invert": False}}, "box"),
        1002, Roots(small_roots(plates)), plates / "kept",
    )  # fmt: skip
    once = bare.rgb / (1 + np.where(np.arange(36) < 15, 0.2, 0)[:, None, None])
    np.testing.assert_allclose(made.rgb[6:24, 11:30], 2 * once[6:24, 11:30], rtol=1e-4)
    np.testing.assert_allclose(made.rgb[6:24, 10], 1.5 * once[6:24, 10], rtol=1e-4)
    np.testing.assert_allclose(made.rgb[:, 31:], once[:, 31:], rtol=1e-4)
