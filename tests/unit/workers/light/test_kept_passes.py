"""Kept light of aligned passes: a read instead of work, and never another pixel.

The truth of every comparison is the frame made without anything kept.
"""

from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np
import OpenEXR
import pytest
from scipy.ndimage import gaussian_filter

from glimsum_jobs.kept_room import kept_light, light_bytes
from glimsum_jobs.shot import ShotJob
from glimsum_workers.combine_frame import CombinedPicture, ShotBench
from glimsum_workers.footage.material import Material
from glimsum_workers.frames.kept import Keep
from glimsum_workers.frames.kept_light import LightStore
from glimsum_workers.frames.roots import Roots
from glimsum_workers.light.kept_passes import LightRoom, open_light_store
from glimsum_workers.light.passes import ShotLight
from glimsum_workers.looking.one_frame import open_bench
from support.harbour_jobs import merged
from support.reuse_shot import BASE, SIZE, files, recipe, soft, write_plates
from support.run_here import HereRun, open_run, work_through
from support.small_shots import exr_pass, small_roots, small_shot, write_exr_pass

ROOM = LightRoom(budget_bytes=1 << 30, reserve_bytes=0)
DRIFTING = {"passes": {"bulbs": {"align": "shift"}}}
FRAME = 1002


@pytest.fixture
def plates(tmp_path: Path) -> Path:
    return write_plates(tmp_path)


def job_of(*changes: Any) -> ShotJob:
    tree = BASE
    for each in changes:
        tree = merged(tree, each)
    return small_shot(**tree)


def made(plates: Path, job: ShotJob, store: LightStore | None) -> CombinedPicture:
    with open_bench(job, FRAME, Roots(small_roots(plates)), plates / "measured") as plain:
        keep = Keep(plates / "measured")
        roots = Roots(small_roots(plates))
        bench = ShotBench(plain.job, plain.checked, plain.solved, roots, keep, store)
        with closing(bench):
            return bench.combine(FRAME, lambda: None)


def assert_same(one: CombinedPicture, other: CombinedPicture) -> None:
    np.testing.assert_array_equal(one.picture.rgb, other.picture.rgb)
    assert one.picture.alpha is not None
    assert other.picture.alpha is not None
    np.testing.assert_array_equal(one.picture.alpha, other.picture.alpha)
    assert one.figures == other.figures


@pytest.mark.parametrize("changes", [{}, DRIFTING], ids=["still", "drifting"])
def test_pixels_and_figures_never_depend_on_what_was_kept(plates: Path, changes: Any) -> None:
    job = job_of(changes)
    plain = made(plates, job, None)

    first, second = (made(plates, job, LightStore(plates / "light", 1 << 30)) for _ in "ab")

    assert_same(first, plain)
    assert_same(second, plain)
    assert len(list((plates / "light").iterdir())) == 2


def test_kept_light_is_read_and_no_pass_is_decoded_again(
    plates: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    job, louder = job_of(), job_of(recipe(1, stops=2, tint_mired=30))
    plain = made(plates, louder, None)
    made(plates, job, LightStore(plates / "light", 1 << 30))
    decoded: list[str] = []

    def note(self: Material, name: str, frame: int) -> Any:
        decoded.append(f"{name} {frame}")
        raise AssertionError(decoded)

    monkeypatch.setattr(Material, "pass_codes", note)
    monkeypatch.setattr(Material, "pass_halves", note, raising=False)

    assert_same(made(plates, louder, LightStore(plates / "light", 1 << 30)), plain)


@pytest.mark.parametrize(
    "change",
    [
        {"passes": {"bulbs": {"exposure": {"stops": 1}}}},
        {"passes": {"bulbs": {"space": "lin_rec709_scene"}}},
        {"passes": {"bulbs": {"white_balance": {"gains": [1.5, 1, 0.75]}}}},
        {"passes": {"bulbs": {"dark": {"level": [0.01, 0.01, 0.02]}}}},
        {"passes": {"bulbs": {"ambient": "leak"}}},
        {"passes": {"bulbs": {"start_offset": 1}}, "frames": {"last": 1002}},
        {"passes": {"key": {"level": "follow"}}},
        {"passes": {"key": {"ambient": None}}},
        DRIFTING,
        {"space": "lin_rec709_scene"},
        {"unit": "bulbs", "passes": {"key": {"exposure": {"stops": -1}}}},
        {"takes": {"both": {"of": ["key", "bulbs"]}}, "recipe": [{"pass": "both"}]},
    ],
    ids=lambda change: str(change)[:60],
)
def test_light_that_another_number_makes_is_not_what_was_kept(plates: Path, change: Any) -> None:
    made(plates, job_of(), LightStore(plates / "light", 1 << 30))
    job = job_of(change)

    assert_same(made(plates, job, LightStore(plates / "light", 1 << 30)), made(plates, job, None))


def test_a_source_that_changed_is_not_reused(plates: Path) -> None:
    before = made(plates, job_of(), LightStore(plates / "light", 1 << 30))
    write_exr_pass(plates, "bulbs", {2: soft(9)})

    after = made(plates, job_of(), LightStore(plates / "light", 1 << 30))

    assert_same(after, made(plates, job_of(), None))
    assert not np.array_equal(after.picture.rgb, before.picture.rgb)


def test_a_damaged_file_is_made_again(plates: Path) -> None:
    plain = made(plates, job_of(), LightStore(plates / "light", 1 << 30))
    for file in (plates / "light").iterdir():
        data = bytearray(file.read_bytes())
        data[len(data) // 2] ^= 255
        file.write_bytes(data)

    assert_same(made(plates, job_of(), LightStore(plates / "light", 1 << 30)), plain)


def test_a_take_that_was_left_out_leaves_nothing_kept(plates: Path) -> None:
    """The damaged file may be whole again in the morning; its digest is then another, though."""
    takes = {"takes": {"both": {"of": ["key", "bulbs"]}}, "recipe": [{"pass": "both"}]}
    damaged = plates / "bulbs" / "bulbs.0002.exr"
    data = bytearray(damaged.read_bytes())
    data[len(data) // 2 : len(data) // 2 + 400] = bytes(400)
    damaged.write_bytes(data)

    picture = made(plates, job_of(takes), LightStore(plates / "light", 1 << 30))

    assert [each.place.pass_name for each in picture.remarks] == ["bulbs"]
    assert not (plates / "light").exists()


def version(plates: Path, number: int, keep: str, *changes: Any, output: str = "small") -> HereRun:
    """Make a version whose frames are all combined, with room for kept light."""
    job = job_of({"keep": keep, "output": f"out:{output}"}, *changes)
    return work_through(open_run(job, small_roots(plates), version=number), room=ROOM)


def kept(plates: Path, output: str = "small") -> list[Path]:
    folder = plates / "out" / output / "kept" / "light"
    return sorted(folder.iterdir()) if folder.is_dir() else []


def test_masters_of_a_later_version_are_the_same_files_with_and_without_kept_light(
    plates: Path,
) -> None:
    change = recipe(1, stops=0.5)
    version(plates, 1, "aligned")
    assert len(kept(plates)) == 6

    read = version(plates, 2, "aligned", change)
    plain = version(plates, 2, "none", change, output="other")

    assert files(read) == files(plain)
    assert kept(plates, "other") == []
    assert len(kept(plates)) == 6


def test_what_is_kept_is_as_large_as_check_says(plates: Path) -> None:
    run = version(plates, 1, "aligned")

    told = light_bytes(run.order.job, run.checked)

    assert len(kept_light(run.order.job, run.checked)) == 6
    assert told == 6 * (SIZE[0] * SIZE[1] * 12 + SIZE[0] * SIZE[1] // 8)
    assert told <= sum(file.stat().st_size for file in kept(plates)) <= told + 6 * 400


@pytest.mark.parametrize(
    ("keep", "number", "budget", "expected"),
    [
        ("auto", 1, 1 << 30, False),
        ("auto", 2, 1 << 30, True),
        ("auto", 2, 500_000, False),
        ("aligned", 1, 500_000, True),
        ("aligned", 1, 0, False),
        ("none", 2, 1 << 30, None),
    ],
)
def test_a_job_is_kept_as_it_asks_and_as_there_is_room(
    plates: Path, keep: str, number: int, budget: int, expected: bool | None
) -> None:
    job = job_of({"keep": keep})
    with open_bench(job, FRAME, Roots(small_roots(plates)), plates / "measured") as bench:
        room = LightRoom(budget, 0)
        store = open_light_store(bench.job, bench.checked, plates, room, version=number)

    put = None if store is None else store.put(f"{1:064x}", {"rgb": np.zeros(9, np.float32)})

    assert put is expected


def test_exr_passes_without_alpha_and_with_are_both_kept(plates: Path) -> None:
    rgba = np.concatenate([soft(3), np.clip(soft(4)[..., :1], 0, 1)], axis=2)
    write_exr_pass(plates, "boat", dict.fromkeys((1, 2, 3), rgba))
    job = job_of({"passes": {"boat": exr_pass("boat")}, "recipe": [*BASE["recipe"],
                                                                   {"pass": "boat"}]})  # fmt: skip
    plain = made(plates, job, None)

    first, second = (made(plates, job, LightStore(plates / "light", 1 << 30)) for _ in "ab")

    assert_same(first, plain)
    assert_same(second, plain)


@pytest.mark.parametrize("align", ["none", "shift", "similarity"])
def test_large_passes_that_are_laid_in_one_walk_come_out_the_same(
    tmp_path: Path, align: str
) -> None:
    """Half floats, as a camera's files are: large enough for compiled code, with lamps in it."""
    rng = np.random.default_rng(5)
    rough = gaussian_filter(rng.normal(0, 1, (288, 320, 3)), (1.5, 1.5, 0))
    light = (0.4 + rough + 40 * (rng.random((288, 320, 1)) > 0.9995)).astype(np.float16)
    for name, moved in (("key", light), ("bulbs", np.roll(light, 1, 1))):
        (tmp_path / name).mkdir()
        planes = {letter: np.ascontiguousarray(moved[..., i]) for i, letter in enumerate("RGB")}
        header = {"compression": OpenEXR.ZIP_COMPRESSION, "type": OpenEXR.scanlineimage}
        with OpenEXR.File(header, planes) as file:
            file.write(str(tmp_path / name / f"{name}.0001.exr"))
    job = small_shot(
        frames={"first": FRAME, "last": FRAME},
        passes={"key": exr_pass("key", white_balance={"gains": [1.3, 1, 0.8]}),
                "bulbs": exr_pass("bulbs", align=align, exposure={"stops": -0.7})},
        recipe=[{"pass": "key", "stops": 0.3}, {"pass": "bulbs", "stops": -0.4, "tint_mired": 30}],
        space="lin_rec709_scene",
    )  # fmt: skip
    plain = made(tmp_path, job, None)

    unkept = made(tmp_path, job, LightStore(tmp_path / "light", 0))
    first, second = (made(tmp_path, job, LightStore(tmp_path / "light", 1 << 30)) for _ in "ab")
    only_read = made(tmp_path, job, LightStore(tmp_path / "light", 0))

    for each in (unkept, first, second, only_read):
        np.testing.assert_array_equal(each.picture.rgb, plain.picture.rgb)
        assert each.picture.alpha is not None
        assert (each.picture.alpha == 1).all()


def test_a_store_that_only_reads_leaves_the_one_walk_to_what_it_does_not_hold(
    plates: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made_whole: list[str] = []
    whole = ShotLight.in_working_space

    def note(self: ShotLight, name: str, frame: int, solved: Any) -> Any:
        made_whole.append(name)
        return whole(self, name, frame, solved)

    monkeypatch.setattr(ShotLight, "in_working_space", note)
    monkeypatch.setattr("glimsum_workers.light.passes.is_worth_it", lambda _size: True)

    made(plates, job_of({"passes": {"key": {"ambient": None}}}), LightStore(plates / "light", 0))

    assert made_whole == []
    assert not (plates / "light").exists()
