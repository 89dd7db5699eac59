"""What measuring the drift of one frame costs against combining it: run it by hand.

    PYTHONPATH=jobs:workers:services:tests OPENBLAS_NUM_THREADS=1 \
        python tests/bench/bench_measuring.py [960 HD 4K] [rounds]

Material: two frames of the shipped harbour passes (reference, beauty, practicals, lit flash,
haze), side by side as often as the size asks for, as 10-bit DPX. Measuring is what a worker does
for all passes of a frame when it has kept the other one (the hold frame of a locked camera);
combining is decode, drift, sum, master and preview of the same frame. CPU of the process,
interleaved, medians; memory is numpy's peak.
"""

import statistics
import sys
import tempfile
import time
import tracemalloc
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
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
from glimsum_workers.measuring import prepared_pictures, track_shot
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
FIRST = 1001
PARTS = ("decode", "prepare", "register", "keep")
Parts = dict[str, float]


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


def write_material(folder: Path, size: tuple[int, int], camera: str) -> None:
    """Write every pass, tiled and cut to a size, as 10-bit DPX with a code or two of grain."""
    shot, random = shipped_harbour(), np.random.default_rng(1)
    for name in SPACES:
        (folder / name).mkdir(parents=True)
        for number, frame in enumerate(FRAMES[camera], FIRST):
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


def make_job(camera: str) -> ShotJob:
    """Return the job over the material; every pass may have drifted and turned."""
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
            "frames": {"first": FIRST, "last": FIRST + 1},
            "reference": "reference",
            "space": "lin_rec709_scene",
            "passes": passes,
            "recipe": [{"pass": name} for name in SPACES if name != "reference"],
            "viewing": {"movie": "none", "width": 960},
            "output": "out:costs",
        }
    )
    return job


@contextmanager
def watched(parts: Parts) -> Iterator[None]:
    """Add up the CPU time of what tracking calls, in ms, without changing what it does."""

    def timed(part: str, run: Callable[..., Any]) -> Callable[..., Any]:
        def wrapped(*args: Any, **named: Any) -> Any:
            start = time.process_time()
            try:
                return run(*args, **named)
            finally:
                parts[part] += 1000 * (time.process_time() - start)

        return wrapped

    places = [(prepared_pictures, "decode_plane", "decode"), (Material, "pass_codes", "decode"),
              (prepared_pictures, "prepare_both", "prepare"), (track_shot, "register", "register"),
              (Keep, "put", "keep"), (Keep, "get", "keep")]  # fmt: skip
    before = [(owner, name, getattr(owner, name)) for owner, name, _ in places]
    for (owner, name, part), (_, _, run) in zip(places, before, strict=True):
        setattr(owner, name, timed(part, run))
    try:
        yield
    finally:
        for owner, name, run in before:
            setattr(owner, name, run)


class Costs:
    """One job over one material, measured and combined again and again."""

    def __init__(self, folder: Path, camera: str) -> None:
        self.job, self.folder = make_job(camera), folder
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

    def combine(self) -> None:
        """Combine the same frame and write it."""
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
        write_frame(order, self.bench, self.frame, self.roots, writer=writer, earlier=earlier)


def clock(run: Callable[[], None]) -> float:
    """Return the CPU time of one run, ms."""
    start = time.process_time()
    run()
    return 1000 * (time.process_time() - start)


def peak(run: Callable[[], None]) -> float:
    """Return numpy's peak memory in one run, MB."""
    tracemalloc.start()
    run()
    most = tracemalloc.get_traced_memory()[1] / 2**20
    tracemalloc.stop()
    return most


def compare(label: str, rounds: int) -> None:
    """Print what both cost at one size."""
    for camera in ("moving", "locked"):
        with tempfile.TemporaryDirectory(prefix="glimsum_costs_") as name:
            write_material(Path(name), SIZES[label], camera)
            costs = Costs(Path(name), camera)
            measuring, combining = list[float](), list[float]()
            parts = defaultdict[str, list[float]](list)
            for _ in range(rounds):
                told: Parts = defaultdict(float)
                with costs.tracker() as tracker, watched(told):
                    measuring.append(clock(partial(costs.measure, tracker, costs.frame)))
                for part in PARTS:
                    parts[part].append(told[part])
                combining.append(clock(costs.combine))
            both = statistics.median(measuring), statistics.median(combining)
            shares = "".join(f"{statistics.median(parts[part]):10.0f}" for part in PARTS)
            with costs.tracker() as tracker:
                most = peak(partial(costs.measure, tracker, costs.frame))
            print(
                f"{label:4s} {camera:7s}{both[0]:9.0f}{both[1]:10.0f}{both[0] / both[1]:7.2f}"
                f"{shares}{most:10.0f}{peak(costs.combine):8.0f}",
                flush=True,
            )
            costs.bench.close()


def main() -> None:
    """Print versions and a row for each size and camera."""
    chosen = [each for each in sys.argv[1:] if each in SIZES] or list(SIZES)
    numbers = [int(each) for each in sys.argv[1:] if each.isdigit() and each not in SIZES]
    print(sys.version.split()[0], "numpy", np.__version__, "- CPU ms, one frame of 5 passes; MB")
    print("size camera    measure   combine  ratio" + "".join(f"{p:>10s}" for p in PARTS)
          + "   measure combine")  # fmt: skip
    for label in chosen:
        compare(label, numbers[0] if numbers else 5)


if __name__ == "__main__":
    main()
