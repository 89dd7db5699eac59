from pathlib import Path

import numpy as np

from glimsum_jobs.tracks import Registered
from glimsum_workers.frames.kept import Keep
from glimsum_workers.steady_test.regions import lay_grid
from glimsum_workers.steady_test.tiles import TileKeep

KEY = "ab" * 16
FOUND = Registered(
    dx=0.25,
    dy=0.5,
    rotation_deg=0,
    scale=1,
    sigma_px=0.05,
    corner_sigma_px=0.06,
    trusted=True,
    alarm=1.1,
)
TILES = np.array([[8 + 16 * n, 40, 0.1, -0.2, 1.0] for n in range(9)], np.float32)
GRID = lay_grid((80, 144))


def test_tiles_are_found_by_what_their_registration_told(tmp_path: Path) -> None:
    keep = TileKeep(tmp_path)
    keep.put(KEY, told=np.asarray(FOUND.model_dump_json()), tiles=TILES)

    gathered = keep.gathered(FOUND, GRID)

    assert gathered is not None
    assert np.allclose(gathered.left[np.isfinite(gathered.error)], [0.1, -0.2])
    assert keep.gathered(FOUND.model_copy(update={"dx": 0.3}), GRID) is None


def test_tiles_of_an_earlier_test_are_known_once_they_were_asked_for(tmp_path: Path) -> None:
    Keep(tmp_path).put(KEY, told=np.asarray(FOUND.model_dump_json()), tiles=TILES)
    keep = TileKeep(tmp_path)
    assert keep.gathered(FOUND, GRID) is None
    assert keep.get(KEY) is not None
    assert keep.gathered(FOUND, GRID) is not None


def test_a_registration_without_tiles_tells_nothing(tmp_path: Path) -> None:
    keep = TileKeep(tmp_path)
    none = np.zeros((0, 5), np.float32)
    keep.put(KEY, told=np.asarray(FOUND.model_dump_json()), tiles=none)
    assert keep.gathered(FOUND, GRID) is None
