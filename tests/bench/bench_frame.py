"""What a frame costs, against floors and against what else could be written: run it by hand.

    PYTHONPATH=jobs:workers:services:tests python tests/bench/bench_frame.py [HD 4K] [rounds]

Answers are checked first; the exit code depends on them alone. Then every row runs in one process,
interleaved; figures are CPU of this process, medians, with the smallest beside them. Files lie in
the page cache, output in shared memory. Other people's use of the machine is printed: where it is
above 0.05 cores the wall times (two processes) say nothing, and CPU times are too long by what
shared caches cost: compare rows of one table only.
"""

import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from glimsum_services.child_environment import KEEP_PAGES, ONE_THREAD

if "MALLOC_TOP_PAD_" not in os.environ:  # as workers are started; read when a program starts
    os.execve(  # noqa: S606  # our own command, no shell
        sys.executable, [sys.executable, *sys.argv], os.environ | KEEP_PAGES | ONE_THREAD
    )

import numpy as np
import OpenEXR
from numpy.typing import NDArray

from bench import frame_material as material
from bench.frame_rivals import plain_reference, read_general, rival_numpy, rival_script
from glimsum_workers.engine.combine import cover, lay_ground
from glimsum_workers.engine.half import to_half
from glimsum_workers.engine.laying import add_still
from glimsum_workers.frames.exr_bytes import lay_out
from glimsum_workers.frames.half_files import read_planes
from glimsum_workers.frames.previews import write_preview
from glimsum_workers.look import Look

Rows = dict[str, Callable[[], object]]
NAMES = (*material.LAMPS, "matte")


def read_floor(folder: Path) -> None:
    """Read the five files with the standard's own library, and do nothing with them."""
    for name in NAMES:
        path = str(material.path_of(folder, name))
        OpenEXR.File(path, separate_channels=True, num_threads=0).channels()


def check_answers(label: str, folder: Path, shots: dict[str, material.Shot]) -> bool:
    """Print how the frame differs from the plain way, in half-float steps; return if it fits."""
    sound = True
    for align, shot in shots.items():
        shot.write()
        with OpenEXR.File(str(next(shot.masters.iterdir()))) as file:
            made = file.channels()["RGB"].pixels.astype(np.float64)
        exact = plain_reference(shot.bench, material.FRAME)
        step = np.spacing(np.abs(exact).astype(np.float16)).astype(np.float64)
        off = np.abs(made - exact) / step
        # Taps on straight lines: 8e-6 of the contrast under a kernel, some hundredths of a step.
        share = float(np.mean(off > 0.55))
        fits = share < 1e-3 and float(np.max(np.abs(made - exact))) < 0.02
        sound &= fits
        print(f"{label} {align:10s} off by more than 0.55 half steps: {share:.1e} of samples, "
              f"largest difference {np.max(np.abs(made - exact)):.1e}: "
              f"{'fits' if fits else 'WRONG'}")  # fmt: skip
    return sound


def make_rows(folder: Path, out: Path, shots: dict[str, material.Shot]) -> Rows:
    """Return what is compared, by name."""
    bench = shots["none"].bench
    made = bench.combine(material.FRAME, lambda: None).picture
    halves = to_half(made.rgb)[0]
    planes = {letter: halves[..., index] for index, letter in enumerate("RGB")}
    size = bench.size
    source, target = halves.copy(), np.empty_like(halves)
    lights = []
    for name in material.LAMPS:
        with material.path_of(folder, name).open("rb") as file:
            light = read_planes(file.fileno(), size)
            assert light is not None
            lights.append(light)
    weight = bench.mattes.on_frame("window", material.FRAME, bench.solved)
    look = Look(bench.job)

    def combine_gains() -> NDArray[np.float32]:
        ground = lay_ground(*size)
        for index, light in enumerate(lights):
            matte = weight if index == 2 else None
            add_still(light, ground.rgb, after=0.7 * np.eye(3), matte=matte)
            assert ground.alpha is not None
            cover(ground.alpha, matte)
        return ground.rgb

    def write(rgb: NDArray[np.float32]) -> None:
        packed = to_half(rgb)[0]
        parts = {letter: packed[..., index] for index, letter in enumerate("RGB")}
        (out / "rerun.exr").write_bytes(lay_out(parts, {}, "zip"))
        write_preview(out, "rerun.jpg", look.of_master(rgb, 960), "t")

    return {
        "control: copy of a half picture": lambda: np.copyto(target, source),
        "floor: 5 reads, standard's library": lambda: read_floor(folder),
        "floor: our ZIP write": lambda: lay_out(planes, {}, "zip"),
        "general reader, 5 reads to float": lambda: read_general(folder, NAMES),
        "frame, similarity": shots["similarity"].write,
        "frame, shift": shots["shift"].write,
        "frame, no drift": shots["none"].write,
        "combine alone, gains and matte": combine_gains,
        "write and preview": lambda: write(made.rgb),
        "gains again: combine, write, preview": lambda: write(combine_gains()),
        "script: OpenImageIO + OpenCV, shift": lambda: rival_script(folder, out),
        **({"numpy + scipy spline 3, shift": lambda: rival_numpy(folder, out)}
           if size[0] <= 1080 else {}),
    }  # fmt: skip


def busy_jiffies() -> int:
    """Return what all processors have worked so far, in clock ticks."""
    numbers = Path("/proc/stat").read_text("ascii").splitlines()[0].split()[1:]
    return sum(int(each) for index, each in enumerate(numbers[:8]) if index not in (3, 4))


def measure(rows: Rows, rounds: int) -> dict[str, list[float]]:
    """Run all rows in turn; print who else used the machine."""
    times: dict[str, list[float]] = {name: [] for name in rows}
    for run in rows.values():
        run()
    wall, own, ticks = time.monotonic(), time.process_time(), busy_jiffies()
    for turn in range(rounds):
        for name in sorted(rows, key=lambda each: hash((each, turn))):
            start = time.process_time()
            rows[name]()
            times[name].append(1000 * (time.process_time() - start))
    wall, own = time.monotonic() - wall, time.process_time() - own
    others = (busy_jiffies() - ticks) / os.sysconf("SC_CLK_TCK") / wall - own / wall
    print(f"cores used: {own / wall:.2f} by this, {others:.2f} by others"
          f"{'' if others < 0.05 else ' (wall times INVALID)'}")  # fmt: skip
    return times


def tell(times: dict[str, list[float]]) -> None:
    """Print the table and the ratios that are promised."""
    middle = {name: statistics.median(each) for name, each in times.items()}
    control = middle["control: copy of a half picture"]
    floor = middle["floor: 5 reads, standard's library"] + middle["floor: our ZIP write"]
    for name, each in times.items():
        took = middle[name]
        print(f"{name:38s}{took:9.0f} ms{min(each):9.0f}{took / control:9.1f} x copy"
              f"{took / floor:8.2f} x floor")  # fmt: skip
    bandwidth = 3 * control  # 5 pictures read, one written: 6 of the 2 that a copy moves
    again, write = middle["gains again: combine, write, preview"], middle["write and preview"]
    script = middle["script: OpenImageIO + OpenCV, shift"]
    gains = middle["combine alone, gains and matte"]
    print(f"frame with drift / floor {middle['frame, similarity'] / floor:.2f}; "
          f"script / frame with shift {script / middle['frame, shift']:.2f}; "
          f"combine of gains / bandwidth {gains / bandwidth:.1f}; "
          f"gains again / write and preview {again / write:.2f}")  # fmt: skip


def measure_processes(label: str, folder: Path) -> None:
    """Print wall time of one and two processes, and memory that must not grow."""
    command = [sys.executable, __file__, "--frames", label, str(folder), "12"]
    for count in (1, 2):
        start = time.monotonic()
        running = [subprocess.Popen([*command, str(index)], stdout=subprocess.PIPE, text=True)
                   for index in range(count)]  # fmt: skip
        told = [each.communicate()[0].strip() for each in running]
        seconds = time.monotonic() - start
        print(f"{count} process(es): {12 * count / seconds:.2f} frames a second wall, start "
              f"included; peak memory {'; '.join(told)}")  # fmt: skip


def run_frames(label: str, folder: Path, count: int, own: str) -> None:
    """Write a frame again and again; print peak memory after three and after all."""
    del label
    with tempfile.TemporaryDirectory(dir="/dev/shm") as out:  # memory, not a disk
        shot, peaks = material.make_shot(folder, Path(out) / own, "similarity"), []
        for _ in range(count):
            shot.write()
            peaks.append(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
    print(f"{peaks[2]:.0f} MB after 3 frames, {peaks[-1]:.0f} MB after {count}")


def main() -> int:
    """Check answers, then print a table for each size."""
    if sys.argv[1:2] == ["--frames"]:
        run_frames(sys.argv[2], Path(sys.argv[3]), int(sys.argv[4]), sys.argv[5])
        return 0
    labels = [each for each in sys.argv[1:] if each in material.SIZES] or list(material.SIZES)
    rounds = next((int(each) for each in sys.argv[1:] if each.isdigit()), 7)
    sound = True
    for label in labels:
        with tempfile.TemporaryDirectory(dir="/dev/shm", prefix="frame_") as name:  # the same
            folder, out = Path(name) / "plates", Path(name) / "out"
            material.write_material(folder, material.SIZES[label])
            shots = {align: material.make_shot(folder, out / align, align)
                     for align in ("similarity", "shift", "none")}  # fmt: skip
            sound &= check_answers(label, folder, shots)
            print(f"\n{label}, {rounds} rounds; CPU ms median, smallest")
            tell(measure(make_rows(folder, out, shots), rounds))
            measure_processes(label, folder)
    return 0 if sound else 1


if __name__ == "__main__":
    sys.exit(main())
