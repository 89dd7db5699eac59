"""What registering found, and what is taken out, are made up here: the difference is left."""

from pathlib import Path

import numpy as np
import pytest

from glimsum_jobs.measurements import Solved
from glimsum_jobs.tracks import Aligned, PassTrack, Placed, Registered, Tracked
from glimsum_workers.measuring.measured import Measured
from glimsum_workers.steady_test.leftover import leftover_of
from glimsum_workers.steady_test.regions import Left
from glimsum_workers.steady_test.tiles import TileKeep
from support.small_shots import exr_pass, small_shot

SIZE = (96, 192)
JOB = small_shot(
    passes={"beauty": exr_pass("beauty"), "lamp": exr_pass("lamp", align="similarity")}
)


def found(dx: float, *, trusted: bool = True) -> Registered:
    return Registered(
        dx=dx,
        dy=0,
        rotation_deg=0,
        scale=1,
        sigma_px=0.05,
        corner_sigma_px=0.06,
        trusted=trusted,
        alarm=1,
    )


def keep_tiles(keep: TileKeep, told: Registered, residual: float) -> None:
    y, x = np.mgrid[8 : SIZE[0] : 16, 8 : SIZE[1] : 16]
    ones = np.ones(x.size)
    rows = [x.ravel(), y.ravel(), residual * ones, 0 * ones, ones]
    tiles = np.stack(rows, axis=1).astype(np.float32)
    key = f"{abs(hash(told.model_dump_json())):032x}"
    keep.put(key, told=np.asarray(told.model_dump_json()), tiles=tiles)


def left_of(keep: TileKeep, measured: Measured, applied: float) -> Left | None:
    placed = Placed(
        dx=applied, dy=0, rotation_deg=0, scale=1, sigma_px=0.05, trusted=True, source="measured"
    )
    tracks = {"lamp": PassTrack(frames={1001: placed})}
    solved = Solved(averages={}, levels={}, tracks=tracks, revision="")
    return leftover_of(JOB, "lamp", measured, solved, keep=keep, size=SIZE)


def tracked(cross: Registered) -> Tracked:
    return Tracked(pass_name="lamp", frame=1001, cross=cross, own=None)


def test_what_is_left_is_what_tiles_show_beyond_what_is_taken_out(tmp_path: Path) -> None:
    keep, cross = TileKeep(tmp_path), found(0.5)
    keep_tiles(keep, cross, residual=0.1)

    left = left_of(keep, Measured(tracked=[tracked(cross)]), applied=0.3)

    # Tiles show 0.5 + 0.1, of which 0.3 is taken out.
    assert left is not None
    assert [region.dx for region in left.regions] == pytest.approx([0.3] * 8, abs=1e-6)


def test_an_alignment_frame_tells_in_place_of_other_light(tmp_path: Path) -> None:
    keep, cross, same = TileKeep(tmp_path), found(0.5), found(0.31)
    keep_tiles(keep, cross, residual=0.4)
    keep_tiles(keep, same, residual=0.02)
    aligned = Aligned(pass_name="lamp", frame=1001, found=same)

    left = left_of(keep, Measured(tracked=[tracked(cross)], aligned=[aligned]), applied=0.3)

    assert left is not None
    assert left.p50_px == pytest.approx(0.03, abs=1e-6)


def test_a_frame_that_is_not_trusted_tells_nothing(tmp_path: Path) -> None:
    keep, cross = TileKeep(tmp_path), found(0.5, trusted=False)
    keep_tiles(keep, cross, residual=0.1)
    assert left_of(keep, Measured(tracked=[tracked(cross)]), applied=0.3) is None


def test_nothing_is_left_of_the_reference_itself(tmp_path: Path) -> None:
    solved = Solved(averages={}, levels={}, revision="")
    keep = TileKeep(tmp_path)
    assert leftover_of(JOB, "beauty", Measured(), solved, keep=keep, size=SIZE) is None
