"""A wedge: every cell is the frame that its recipe makes, small.

Sources: Grassmann 1853, doi 10.1002/andp.18531650505 (lights add, so means of blocks may be taken
before); block means by scikit-image. The frames held against are made whole by `make_still`.
"""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from skimage.measure import block_reduce

from glimsum_jobs.errors import JobError
from glimsum_jobs.shot import ShotJob
from glimsum_jobs.varied import Varied
from glimsum_jobs.wedges import job_of_cell, lay_out_cells
from glimsum_workers.footage.material import Material
from glimsum_workers.frames.kept_light import LightStore
from glimsum_workers.frames.roots import Roots
from glimsum_workers.light.kept_passes import LightRoom
from glimsum_workers.looking.one_frame import make_still, open_bench
from glimsum_workers.looking.small_sources import SmallSources
from glimsum_workers.looking.wedge_shot import make_wedge
from support.harbour_jobs import merged
from support.reuse_shot import BASE, SIZE, soft, write_matte, write_plates
from support.small_shots import exr_pass, small_roots, small_shot, write_exr_pass

ROOM = LightRoom(budget_bytes=1 << 30, reserve_bytes=0)
FRAME = 1002
PLUS: list[dict[str, Any]] = [
    {"pass": "key", "tint_mired": -40},
    {"pass": "bulbs", "stops": -0.5},
    {"pass": "bulbs", "stops": -2, "matte": "window"},
    {"pass": "bulbs", "less": "key", "stops": -3},
]
VARIED = [
    Varied(name="bulbs", number=2, values=(-1.5, 0.0, "out")),
    Varied(name="key", field="tint_mired", values=(-40.0, 60.0)),
]


@pytest.fixture
def plates(tmp_path: Path) -> Path:
    return write_plates(tmp_path)


def job_of(changes: Any = None) -> ShotJob:
    return small_shot(**merged(merged(BASE, {"recipe": PLUS}), changes or {}))


def cells_of(job: ShotJob, varied: list[Varied] | None = None) -> list[ShotJob]:
    return [job_of_cell(job, each) for each in lay_out_cells(job, varied or VARIED)]


def wedge(plates: Path, jobs: list[ShotJob], frames: list[int], width: int) -> list[NDArray[Any]]:
    roots = Roots(small_roots(plates))
    kept = plates / "kept"
    kept.mkdir(exist_ok=True)
    made = make_wedge(jobs, frames, roots, kept, ROOM, width)
    return [picture for each in made.frames for picture in each.pictures]


def light(plates: Path, job: ShotJob, factor: int, frame: int = FRAME) -> NDArray[np.float32]:
    """Return a cell as light, from sources shrunk by a factor."""
    with open_bench(job, frame, Roots(small_roots(plates)), plates / "kept") as bench:
        return SmallSources(None, frame, factor).combine(bench)


def whole(plates: Path, job: ShotJob, frame: int = FRAME) -> NDArray[np.float32]:
    return make_still(job, frame, Roots(small_roots(plates)), plates / "kept").rgb


def block_means(picture: NDArray[np.float32], side: int) -> NDArray[np.float64]:
    exact = picture.astype(np.float64)
    block: Any = (side, side, 1)  # its stub says int, its documentation a tuple
    means: NDArray[np.float64] = block_reduce(  # type: ignore[no-untyped-call]  # no types
        exact, block, np.mean
    )
    return means


def test_a_cell_at_full_size_is_the_frame_with_those_values(plates: Path) -> None:
    for job in cells_of(job_of()):
        frame = whole(plates, job)

        np.testing.assert_allclose(light(plates, job, 1), frame, rtol=1e-6, atol=1e-6)


@pytest.mark.parametrize("edges", ["repeat", "crop"])
def test_a_small_cell_is_the_frame_shrunk_in_linear_light(plates: Path, edges: str) -> None:
    """Also where edges are cropped in the middle of a block."""
    drifting = {"edges": edges, "passes": {"bulbs": {"align": "shift"}}}
    for job in cells_of(job_of(drifting), VARIED[:1]):
        frame = whole(plates, job)

        expected = block_means(frame, 8)
        np.testing.assert_allclose(light(plates, job, 8), expected, rtol=1e-6, atol=1e-6)


def test_blocks_that_are_cut_off_repeat_the_edge(plates: Path) -> None:
    job = job_of()
    padded = np.pad(whole(plates, job), [(0, -SIZE[0] % 7), (0, -SIZE[1] % 7), (0, 0)], "edge")

    expected = block_means(padded, 7)
    np.testing.assert_allclose(light(plates, job, 7), expected, rtol=1e-6, atol=1e-6)


def test_display_codes_of_cells_are_those_of_stills(plates: Path) -> None:
    jobs = cells_of(job_of({"viewing": {"width": 128}}))

    pictures = wedge(plates, jobs, [1001, 1003], 128)

    roots = Roots(small_roots(plates))
    stills = [make_still(job, frame, roots, plates / "kept").display
              for frame in (1001, 1003) for job in jobs]  # fmt: skip
    assert len(pictures) == len(stills)
    for picture, still in zip(pictures, stills, strict=True):
        assert np.abs(picture.astype(int) - still).max() <= 1


def test_a_second_wedge_reads_no_pass(plates: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    first = wedge(plates, cells_of(job_of()), [FRAME], 32)
    other = cells_of(job_of(), [Varied(name="bulbs", number=1, values=(1.0, -1.0))])
    expected = [light(plates, each, 4) for each in other]

    def fail(self: Material, name: str, frame: int) -> None:
        raise AssertionError(f"{name} {frame} is read")

    for name in ("pass_codes", "pass_halves", "matte_codes"):
        monkeypatch.setattr(Material, name, fail, raising=False)
    again = wedge(plates, cells_of(job_of()), [FRAME], 32)
    pictures = wedge(plates, other, [FRAME], 32)

    for one, two in zip(first, again, strict=True):
        np.testing.assert_array_equal(one, two)
    assert not np.array_equal(pictures[0], pictures[1])
    assert np.abs(expected[0] - expected[1]).max() > 0.1


def test_a_changed_source_or_matte_is_not_taken_from_what_was_kept(plates: Path) -> None:
    job = cells_of(job_of())[:1]
    wedge(plates, job, [FRAME], 32)
    write_exr_pass(plates, "bulbs", {2: soft(9)})
    write_matte(plates, 2, 99)

    (picture,) = wedge(plates, job, [FRAME], 32)

    for file in (plates / "kept" / "light").iterdir():
        file.unlink()
    np.testing.assert_array_equal(picture, wedge(plates, job, [FRAME], 32)[0])


def test_a_lamp_that_a_cell_lights_is_found_where_it_lies(plates: Path) -> None:
    """In the job it is out, so nobody looked where it lies; its cell must."""
    out = [{"pass": "key"}, {"pass": "bulbs", "stops": "out"}]
    job = small_shot(**merged(BASE, {"recipe": out, "passes": {"bulbs": {"align": "shift"}},
                                     "viewing": {"width": 128}}))  # fmt: skip
    lit = cells_of(job, [Varied(name="bulbs", values=("out", 1.0))])

    pictures = wedge(plates, lit, [FRAME], 128)

    stills = [make_still(each, FRAME, Roots(small_roots(plates)), plates / "kept").display
              for each in lit]  # fmt: skip
    for picture, still in zip(pictures, stills, strict=True):
        assert np.abs(picture.astype(int) - still).max() <= 1
    assert not np.array_equal(stills[0], stills[1])


def with_boat(plates: Path, operator: str) -> ShotJob:
    """Return a job in which a boat with coverage is laid on in the middle of the recipe."""
    coverage = np.zeros((*SIZE, 1), np.float32)
    coverage[20:60, 20:60] = 1  # blocks of 8: an edge in the middle of one
    coverage[30:40] *= 0.5
    boat = np.concatenate([soft(5) * coverage, coverage], axis=2)
    write_exr_pass(plates, "boat", dict.fromkeys((1, 2, 3), boat))
    laid = {"pass": "boat", "operator": operator, "stops": 1}
    steps = [*PLUS[:2], laid, PLUS[2], {**laid, "matte": "window", "stops": -1}]
    return job_of({"passes": {"boat": exr_pass("boat")}, "recipe": steps})


def test_a_small_recipe_with_over_is_the_shrunk_frame_too(plates: Path) -> None:
    """It is a sum of lights: Porter & Duff 1984, co = as Cs + (1 - as) cb."""
    for job in cells_of(with_boat(plates, "over"), VARIED[:1]):
        expected = block_means(whole(plates, job), 8)

        np.testing.assert_allclose(light(plates, job, 8), expected, rtol=1e-6, atol=1e-6)


def test_other_operators_differ_from_the_shrunk_frame_only_where_an_edge_crosses_a_block(
    plates: Path,
) -> None:
    job = with_boat(plates, "atop")

    for order in (1, -1):  # a lamp that is out covers all the same, from its place on
        out = [{"pass": "boat", "operator": "atop"}, {"pass": "bulbs", "stops": "out"}][::order]
        mixed = job_of({"passes": {"boat": exr_pass("boat")}, "recipe": out})
        exact = whole(plates, mixed)
        np.testing.assert_allclose(light(plates, mixed, 1), exact, rtol=1e-6, atol=1e-6)
    np.testing.assert_allclose(light(plates, job, 1), whole(plates, job), rtol=1e-6, atol=1e-6)
    off = np.abs(light(plates, job, 8) - block_means(whole(plates, job), 8)).max(axis=2)
    boat = np.zeros_like(off, dtype=bool)
    boat[2:8, 2:8] = True
    assert off[~boat].max() < 1e-6
    assert 1e-6 < off[boat].max() < 0.3


def test_every_dead_frame_is_refused_before_anything_is_made(plates: Path) -> None:
    (plates / "bulbs" / "bulbs.0003.exr").write_bytes(b"")

    with pytest.raises(JobError, match="frame 1003 of shot small can't be made"):
        wedge(plates, cells_of(job_of()), [1001, 1003], 32)
    with pytest.raises(JobError, match="frame 1009 of shot small can't be made"):
        wedge(plates, cells_of(job_of()), [1001, 1009], 32)


def test_a_damaged_small_source_is_made_again(plates: Path) -> None:
    job = cells_of(job_of())[:1]
    (first,) = wedge(plates, job, [FRAME], 32)
    folder = plates / "kept" / "light"
    for file in folder.iterdir():
        file.write_bytes(file.read_bytes()[:-9])

    np.testing.assert_array_equal(first, wedge(plates, job, [FRAME], 32)[0])
    assert all(LightStore(folder, 1).get(file.stem) for file in folder.iterdir())
