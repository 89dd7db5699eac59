"""What `bench_frame` works on: photographs lit four ways as half-float OpenEXR, and shots of them.

Photographs of scikit-image, enlarged and tiled, with shot and read noise from a seed; four lamp
passes and a matte: five files a frame, ZIP. How well files deflate depends on noise: others differ.
"""

import os
from collections.abc import Callable
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np
import OpenEXR
from numpy.typing import NDArray

from glimsum_jobs.measurements import Combined, Solved
from glimsum_jobs.orders import RunOrder
from glimsum_jobs.reading import read_shot
from glimsum_jobs.shot import ShotJob
from glimsum_jobs.tracks import PassTrack, Placed
from glimsum_workers.check_shot import check_shot
from glimsum_workers.combine_frame import ShotBench
from glimsum_workers.frames.kept import Keep
from glimsum_workers.frames.roots import Roots
from glimsum_workers.writing.reuse import EarlierFrames
from glimsum_workers.writing.write_frame import write_frame
from glimsum_workers.writing.writer import Writer

data: Any = import_module("skimage.data")
transform: Any = import_module("skimage.transform")

SIZES = {"HD": (1080, 1920), "4K": (2160, 3840)}
FRAME = 1001
LAMPS = ("beauty", "practicals", "haze", "flash")
MOVES = {
    "beauty": (0.31, -0.22, 0.004, 1.0001),
    "practicals": (1.37, -0.62, 0.010, 1.0003),
    "haze": (-2.41, 0.77, -0.006, 0.9998),
    "flash": (0.48, 3.19, 0.002, 1.0002),
}
"""Shift in pixels, degrees, scale."""
STOPS = {"beauty": 0.0, "practicals": -0.5, "haze": 0.3, "flash": -1.0}


def write_material(folder: Path, size: tuple[int, int]) -> None:
    """Write one frame of every pass and of the matte."""
    random = np.random.default_rng(20261125)
    photographs = (data.astronaut(), data.coffee(), data.rocket(), data.chelsea())
    for name, photograph in zip(LAMPS, photographs, strict=True):
        lit = (photograph.astype(np.float32) / 255) ** np.float32(2.2)
        large = transform.resize(lit, (2 * lit.shape[0], 2 * lit.shape[1]), order=3)
        times = [-(-want // have) for want, have in zip(size, large.shape, strict=False)]
        whole = np.tile(large.astype(np.float32), (*times, 1))[: size[0], : size[1]]
        sigma = np.sqrt(np.maximum(whole, 0) * 1e-4 + 4e-6)
        write_halves(folder, name, whole + sigma * random.standard_normal(whole.shape, np.float32))
    y, x = np.mgrid[: size[0], : size[1]]
    disc = np.clip(1.5 - np.hypot(x - size[1] / 2, y - size[0] / 2) / (size[0] / 3), 0, 1)
    write_halves(folder, "matte", np.dstack([disc] * 3))


def write_halves(folder: Path, name: str, picture: NDArray[Any]) -> None:
    """Write one file with the standard's own library."""
    (folder / name).mkdir(parents=True)
    header = {"compression": OpenEXR.ZIP_COMPRESSION, "type": OpenEXR.scanlineimage}
    with OpenEXR.File(header, {"RGB": picture.astype(np.float16)}) as file:
        file.write(str(path_of(folder, name)))


def path_of(folder: Path, name: str, frame: int = FRAME) -> Path:
    """Return the file of a pass or of the matte."""
    return folder / name / f"{name}.{frame}.exr"


def lengthen(folder: Path, count: int) -> None:
    """Make the material `count` frames long: each frame is the first one's file by another name."""
    for name in (*LAMPS, "matte"):
        for frame in range(FRAME + 1, FRAME + count):
            if not path_of(folder, name, frame).exists():
                os.link(path_of(folder, name), path_of(folder, name, frame))


def make_job(align: str, count: int = 1, shot: str = "costs") -> ShotJob:
    """Return the job: four lamps, one tinted, one under the matte, `count` frames."""
    passes = {
        name: {
            "files": f"plates:{name}/{name}.%04d.exr",
            "space": "lin_ap1_scene",
            "exposure": {"stops": 0},
            "align": align,
        }
        for name in LAMPS
    }
    recipe: list[dict[str, Any]] = [{"pass": name, "stops": STOPS[name]} for name in LAMPS]
    recipe[1]["tint_mired"] = -40
    recipe[2]["matte"] = "window"
    job, _ = read_shot(
        {
            "glimsum": 1,
            "shot": shot,
            "rate": 24,
            "camera": "locked",
            "frames": {"first": FRAME, "last": FRAME + count - 1},
            "reference": "beauty",
            "space": "lin_ap1_scene",
            "passes": passes,
            "mattes": {"window": {"files": "plates:matte/matte.%04d.exr"}},
            "recipe": recipe,
            "viewing": {"movie": "none", "width": 960},
            "output": f"out:{shot}",
        }
    )
    return job


@dataclass(frozen=True)
class Shot:
    """A shot whose drift is known, ready to be combined."""

    bench: ShotBench
    write: Callable[..., Combined]
    """Reads, combines and writes a frame, by default the first: master and preview."""
    version: Path
    """Folder of masters and previews."""

    @property
    def master(self) -> Path:
        """Return the file of the first frame, once it was written."""
        return min((self.version / "master").iterdir())


def make_shot(folder: Path, out: Path, align: str, count: int = 1) -> Shot:
    """Return the shot over the material, with `align`: none, shift or similarity."""
    out.mkdir(parents=True, exist_ok=True)
    job, roots = make_job(align, count), Roots({"plates": folder, "out": out})
    checked = check_shot(job, roots)
    assert not checked.refused, checked.problems
    tracks = {}
    for name, (dx, dy, degrees, scale) in MOVES.items():
        turned = (degrees, scale) if align == "similarity" else (0.0, 1.0)
        placed = Placed(
            dx=dx, dy=dy, rotation_deg=turned[0], scale=turned[1], sigma_px=0.01, trusted=True,
            source="measured",
        )  # fmt: skip
        tracks[name] = PassTrack(frames=dict.fromkeys(job.frames.numbers, placed))
    solved = Solved(averages={}, levels={}, tracks={} if align == "none" else tracks, revision="0")
    bench = ShotBench(job, checked, solved, roots, Keep(out / "kept"))
    order = RunOrder(
        run="costs/v001", shot="costs", version=1, job=job, job_digest="0" * 64,
        folder="out:costs/v001", made="2026-01-05T21:30:00Z",
    )  # fmt: skip
    writer, earlier = Writer("here", "0", lambda: None), EarlierFrames(order, roots)

    def write(frame: int = FRAME) -> Combined:
        return write_frame(order, bench, frame, roots, writer=writer, earlier=earlier)

    return Shot(bench, write, out / "costs" / "v001")
