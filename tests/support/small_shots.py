"""Small synthetic shots: pictures written by other libraries, and jobs over them."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import OpenEXR
from numpy.typing import ArrayLike, NDArray

from glimsum_jobs.reading import read_shot
from glimsum_jobs.shot import ShotJob
from support.harbour_jobs import merged

WIDTH, HEIGHT = 64, 36
SPACE = "lin_ap1_scene"

SMALL: dict[str, Any] = {
    "glimsum": 1,
    "shot": "small",
    "rate": 24,
    "camera": "locked",
    "frames": {"first": 1001, "last": 1003},
    "space": SPACE,
    "passes": {},
    "viewing": {"movie": "none", "width": 64},
    "output": "out:small",
}


def raw_small_shot(**changes: Any) -> dict[str, Any]:
    """Return a small job as a tree, changed as `harbour_jobs.merged` does."""
    return merged(SMALL, changes)


def small_shot(**changes: Any) -> ShotJob:
    """Return a small job, read as any job is."""
    job, _ = read_shot(raw_small_shot(**changes))
    return job


def small_roots(folder: Path) -> dict[str, Path]:
    """Return the roots of a small job: plates in `folder`, output in ``folder/out``."""
    (folder / "out").mkdir(exist_ok=True)
    return {"plates": folder, "out": folder / "out"}


def exr_pass(name: str, **more: Any) -> dict[str, Any]:
    """Return a pass of linear OpenEXR files, at 0 stops and where it lies unless said otherwise."""
    files = f"plates:{name}/{name}.%04d.exr"
    told = {"files": files, "space": SPACE, "exposure": {"stops": 0}}
    return told | ({} if "use" in more else {"align": "none"}) | more


def write_exr_pass(
    folder: Path, name: str, pictures: Mapping[int, NDArray[np.floating]]
) -> list[Path]:
    """Write pictures (h, w, 3 or 4) by number as 32-bit floats, with the standard's library."""
    (folder / name).mkdir(exist_ok=True)
    paths = []
    for number, picture in pictures.items():
        path = folder / name / f"{name}.{number:04d}.exr"
        planes = {
            letter: np.ascontiguousarray(picture[..., index], np.float32)
            for index, letter in enumerate("RGBA"[: picture.shape[2]])
        }
        header = {"compression": OpenEXR.ZIP_COMPRESSION, "type": OpenEXR.scanlineimage}
        with OpenEXR.File(header, planes) as file:
            file.write(str(path))
        paths.append(path)
    return paths


def flat(colour: ArrayLike, height: int = HEIGHT, width: int = WIDTH) -> NDArray[np.float32]:
    """Return a picture of one colour, (height, width, channels)."""
    value = np.asarray(colour, dtype=np.float32)
    return np.broadcast_to(value, (height, width, value.size)).copy()


def grain(seed: int, height: int = HEIGHT, width: int = WIDTH) -> NDArray[np.float32]:
    """Return light with grain, some of it negative, (height, width, 3)."""
    values = np.random.default_rng(seed).normal(0.3, 0.2, (height, width, 3))
    return values.astype(np.float32)


def one_lamp(number: int) -> NDArray[np.float32]:
    """Return one lit picture with a little grain of its own, as a pass of a locked camera has."""
    return (grain(1) + (grain(1000 + number) - 0.3) / 20).astype(np.float32)
