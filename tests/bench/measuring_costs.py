"""A shot of harbour passes at any size, measured and combined again and again."""

import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import av
import numpy as np
import OpenImageIO
from numpy.typing import NDArray

from glimsum_jobs.orders import RunOrder
from glimsum_jobs.plan import hold_frame
from glimsum_jobs.reading import read_shot
from glimsum_jobs.shot import ShotJob
from glimsum_workers.check_shot import check_shot
from glimsum_workers.combine_frame import ShotBench
from glimsum_workers.footage.material import Material
from glimsum_workers.frames.kept import Keep
from glimsum_workers.frames.roots import Roots
from glimsum_workers.looking.one_frame import measure_here
from glimsum_workers.measuring.track_shot import Tracker
from glimsum_workers.writing.reuse import EarlierFrames
from glimsum_workers.writing.write_frame import write_frame
from glimsum_workers.writing.writer import Writer
from support.harbour import HarbourShot, read_pixels, shipped_harbour

SIZES = {"960": (540, 960), "HD": (1080, 1920), "4K": (2160, 3840)}
SPACES = {
    "reference": "ocio:itu709_rec709_scene",
    "beauty": "ocio:acescct_ap1_scene",
    "practicals": "srgb_rec709_scene",
    "flash": "srgb_rec709_scene",
    "haze": "srgb_rec709_scene",
}
FRAMES = {"moving": (5, 6), "locked": (5, 5)}
"""Shot frames on which the flash burns; a locked camera shows the same again with other grain."""
SHOT = {"moving": range(2, 8), "locked": (5,) * 6}
"""Those of a whole shot."""
FIRST = 1001


def read_codes(shot: HarbourShot, name: str, frame: int) -> NDArray[np.float32]:
    """Return the codes of a pass, 0..1, (height, width, 3)."""
    file = shot.file(name, frame)
    if file.suffix != ".mp4":
        return read_pixels(file)[..., :3]
    with av.open(str(file)) as clip:
        for number, picture in enumerate(clip.decode(video=0)):
            if number == shot.file_number(name, frame):
                return picture.to_ndarray(format="rgb24").astype(np.float32) / np.float32(255)
    raise EOFError(f"{file}: no picture for shot frame {frame}")


def write_material(folder: Path, size: tuple[int, int], frames: Sequence[int]) -> None:
    """Write every pass, tiled and cut to a size, as 10-bit DPX with a code or two of grain.

    `frames` are the harbour's.
    """
    shot, random = shipped_harbour(), np.random.default_rng(1)
    for name in SPACES:
        (folder / name).mkdir(parents=True)
        for number, frame in enumerate(frames, FIRST):
            codes = read_codes(shot, name, frame)
            times = [-(-want // have) for want, have in zip(size, codes.shape, strict=False)]
            whole = np.tile(codes, (*times, 1))[: size[0], : size[1]]
            grain = random.standard_normal(whole.shape, dtype=np.float32) * np.float32(1 / 1023)
            whole = np.clip(whole + grain, 0, 1)
            spec = OpenImageIO.ImageSpec(size[1], size[0], 3, "uint16")
            spec.attribute("oiio:BitsPerSample", 10)
            path = folder / name / f"{name}.{number}.dpx"
            out = OpenImageIO.ImageOutput.create(str(path))
            assert out is not None, OpenImageIO.geterror()
            assert out.open(str(path), spec), out.geterror()
            assert out.write_image(np.ascontiguousarray(whole)), out.geterror()
            out.close()


def make_job(camera: str, frames: int) -> ShotJob:
    """Return the job over so many frames; every pass may have drifted and turned."""
    passes: dict[str, Any] = {
        name: {
            "files": f"plates:{name}/{name}.%04d.dpx",
            "space": space,
            "exposure": {"stops": 0},
            "align": "none" if name == "reference" else "similarity",
        }
        for name, space in SPACES.items()
    }
    job, _ = read_shot(
        {
            "glimsum": 1,
            "shot": "costs",
            "rate": 24,
            "camera": camera,
            "frames": {"first": FIRST, "last": FIRST + frames - 1},
            "reference": "reference",
            "space": "lin_rec709_scene",
            "passes": passes,
            "recipe": [{"pass": name} for name in SPACES if name != "reference"],
            "viewing": {"movie": "none", "width": 960},
            "output": "out:costs",
        }
    )
    return job


class Costs:
    """One job over one material, measured and combined again and again."""

    def __init__(self, folder: Path, camera: str, frames: int = 2) -> None:
        self.job, self.folder = make_job(camera, frames), folder
        (folder / "out").mkdir(exist_ok=True)
        self.roots = Roots({"plates": folder, "out": folder / "out"})
        self.checked = check_shot(self.job, self.roots)
        assert not self.checked.problems or all(
            problem.rank.value == "remark" for problem in self.checked.problems
        ), self.checked.problems
        self.hold = hold_frame(self.job, self.checked)
        self.frame = 2 * FIRST + 1 - self.hold
        self.keep = Keep(folder / "kept" / camera)
        self.solved = measure_here(self.job, self.checked, self.roots, self.keep)
        self.bench = ShotBench(self.job, self.checked, self.solved, self.roots, self.keep)

    @contextmanager
    def tracker(self) -> Iterator[Tracker]:
        """Give a tracker that has done the hold frame and kept it, nothing of the other."""
        with tempfile.TemporaryDirectory(dir=self.folder) as fresh:
            keep = Keep(Path(fresh))
            with Material(self.job, self.checked, self.roots) as material:
                tracker = Tracker(self.job, material, keep)
                self.measure(tracker, self.hold)
                yield tracker

    def measure(self, tracker: Tracker, frame: int) -> None:
        """Track every pass on a frame, as a worker does."""
        for name in SPACES:
            if self.job.camera == "locked" or name != "reference":
                tracker.track(name, frame)

    def measure_shot(self) -> None:
        """Track every pass on every frame, nothing kept before."""
        with (
            tempfile.TemporaryDirectory(dir=self.folder) as fresh,
            Material(self.job, self.checked, self.roots) as material,
        ):
            tracker = Tracker(self.job, material, Keep(Path(fresh)))
            for frame in self.job.frames.numbers:
                self.measure(tracker, frame)

    def combine_shot(self) -> None:
        """Combine every frame and write it."""
        for frame in self.job.frames.numbers:
            self.combine(frame)

    def combine(self, frame: int) -> None:
        """Combine a frame and write it."""
        order = RunOrder(
            run="costs/v001",
            shot="costs",
            version=1,
            job=self.job,
            job_digest="0" * 64,
            folder="out:costs/v001",
            made="2026-01-05T21:30:00Z",
        )
        writer = Writer("here", "0", lambda: None)
        earlier = EarlierFrames(order, self.roots)
        write_frame(order, self.bench, frame, self.roots, writer=writer, earlier=earlier)
