"""What a frame costs, against floors and against what else could be written: run it by hand.

    python tests/bench/bench_frame.py [HD 4K] [rounds]
    python tests/bench/bench_frame.py --long [HD 4K]       memory over 1,000 frames, nothing else

Answers are checked first; the exit code depends on answers alone. Then the rows of each table run
interleaved; figures are CPU of this process and its children, medians, the smallest beside them.
Files lie in the page cache, output in shared memory. Other people's use of the machine is printed:
where it is above 0.05 cores wall times (scaling) say nothing, and CPU times are too long by what
shared caches cost: compare rows of one table only. General tools (ffmpeg, ImageMagick, oiiotool)
are measured at HD, where they are installed.
"""

import os
import statistics
import sys
import tempfile
from collections.abc import Callable, Mapping
from pathlib import Path

TESTS = Path(__file__).parents[1]
PARTS = [str(TESTS.parent / part) for part in ("jobs", "workers", "services")]
sys.path[:0] = [str(TESTS), *PARTS]

from glimsum_services.child_environment import KEEP_PAGES, ONE_THREAD, kept_kernels  # noqa: E402  # the paths come first

if "MALLOC_TOP_PAD_" not in os.environ:  # as workers are started; read when a program starts
    kernels = kept_kernels(Path(tempfile.gettempdir()) / "glimsum_bench", os.environ)
    paths = {"PYTHONPATH": os.pathsep.join((str(TESTS), *PARTS))}
    os.execve(  # noqa: S606  # our own command, no shell
        sys.executable,
        [sys.executable, *sys.argv],
        os.environ | KEEP_PAGES | ONE_THREAD | kernels | paths,
    )

import numpy as np  # noqa: E402  # the environment comes first
from numpy.typing import NDArray  # noqa: E402  # the same

from bench import frame_material as material  # noqa: E402  # the same
from bench.alternatives import tell_alternatives  # noqa: E402  # the same
from bench.answers import read_rgb  # noqa: E402  # the same
from bench.by_hand import rivals_by_hand  # noqa: E402  # the same
from bench.fixed_floor import pack_floor, read_floor  # noqa: E402  # the same
from bench.frame_rivals import plain_reference, read_general, script_rivals  # noqa: E402  # the same
from bench.rounds import Rows, Times, measure  # noqa: E402  # the same
from bench.scaling import take_turns, tell_cost, tell_scaling  # noqa: E402  # the same
from bench.working_set import LONG, make_alone, tell_memory  # noqa: E402  # the same
from glimsum_workers.engine.combine import lay_ground  # noqa: E402  # the same
from glimsum_workers.engine.half import to_half  # noqa: E402  # the same
from glimsum_workers.engine.resample.quick import Layer  # noqa: E402  # the same
from glimsum_workers.frames.exr_bytes import lay_out  # noqa: E402  # the same
from glimsum_workers.frames.half_files import read_planes  # noqa: E402  # the same
from glimsum_workers.frames.previews import write_preview  # noqa: E402  # the same
from glimsum_workers.light.look import Look  # noqa: E402  # the same
from glimsum_workers.steps.on_frame import OnFrame  # noqa: E402  # the same

NAMES = (*material.LAMPS, "matte")
ALIGNS = ("similarity", "shift", "none")
FLOOR_READ, FLOOR_WRITE = (
    "floor: 5 reads, standard's library",
    "floor: ZIP write, one deflate a block",
)
FLOOR_LEAST = "write and preview with the floor's"
Pack = Callable[[Mapping[str, NDArray[np.float16]]], bytes]
BY_HAND_ROUNDS, TURNS = 3, 3


def pack_ours(planes: Mapping[str, NDArray[np.float16]]) -> bytes:
    """Return the file of a master, with no more than it has to say of itself."""
    return lay_out(planes, {}, "zip")


def check_answers(label: str, shots: Mapping[str, material.Shot]) -> bool:
    """Print how the frame differs from the plain way, in half-float steps; return if it fits."""
    sound = True
    for align, shot in shots.items():
        shot.write()
        made = read_rgb(shot.master).astype(np.float64)
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


def make_rows(folder: Path, out: Path, shots: Mapping[str, material.Shot]) -> Rows:
    """Return what is compared with floors, by name."""
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

    def read_ours() -> None:
        for name in NAMES:
            with material.path_of(folder, name).open("rb") as file:
                read_planes(file.fileno(), size)

    def combine_gains() -> NDArray[np.float32]:
        ground, made = lay_ground(*size), OnFrame(material.FRAME)
        gain = 0.7 * np.eye(3)
        made.waiting = [
            Layer(light, None, gain, weight if index == 2 else None)
            for index, light in enumerate(lights)
        ]
        made.add_waiting(ground)
        return ground.rgb

    def write(rgb: NDArray[np.float32], pack: Pack = pack_ours) -> None:
        packed = to_half(rgb)[0]
        parts = {letter: packed[..., index] for index, letter in enumerate("RGB")}
        (out / "rerun.exr").write_bytes(pack(parts))
        write_preview(out, "rerun.jpg", look.of_master(rgb, 960), "t")

    return {
        "control: copy of a half picture": lambda: np.copyto(target, source),
        FLOOR_READ: lambda: read_floor(folder, NAMES),
        FLOOR_WRITE: lambda: pack_floor(planes),
        "5 reads, ours": read_ours,
        "ZIP write, ours": lambda: pack_ours(planes),
        "general reader, 5 reads to float": lambda: read_general(folder, NAMES),
        **{f"frame, {align}": shot.write for align, shot in shots.items()},
        "combine alone, gains and matte": combine_gains,
        "write and preview": lambda: write(made.rgb),
        FLOOR_LEAST: lambda: write(made.rgb, pack_floor),
        "gains again: combine, write, preview": lambda: write(combine_gains()),
    }


def tell(times: Times) -> None:
    """Print the table and the ratios that are promised."""
    middle = {name: statistics.median(each) for name, each in times.items()}
    control = middle["control: copy of a half picture"]
    floor = middle[FLOOR_READ] + middle[FLOOR_WRITE]
    for name, each in times.items():
        took = middle[name]
        print(f"{name:38s}{took:9.0f} ms{min(each):9.0f}{took / control:9.1f} x copy"
              f"{took / floor:8.2f} x floor")  # fmt: skip
    bandwidth = 3 * control  # 5 pictures read, one written: 6 of the 2 that a copy moves
    again, write = middle["gains again: combine, write, preview"], middle["write and preview"]
    print(f"frame with drift / floor {middle['frame, similarity'] / floor:.2f}; combine of gains / "
          f"bandwidth {middle['combine alone, gains and matte'] / bandwidth:.1f}; "
          f"gains again / write and preview {again / write:.2f}, "
          f"with the floor's write {again / middle[FLOOR_LEAST]:.2f}")  # fmt: skip


def show_alternatives(
    label: str, folder: Path, out: Path, shots: Mapping[str, material.Shot], rounds: int
) -> bool:
    """Print the table of other ways; return whether equal work made equal pictures."""
    print(f"\n{label}, other ways to make the frame, a thread each; CPU ms median, smallest")
    rivals = script_rivals(folder, out)[: None if label == "HD" else 3]
    if label == "HD":
        rivals += rivals_by_hand(folder, out)
    peers = dict.fromkeys(each.peer for each in rivals)
    peaks = {align: make_alone(folder, align, 3).peaks[3] for align in peers}
    rows = {align: shots[align].write for align in peers} | {e.name: e.run for e in rivals}
    most = {e.name: min(e.rounds, BY_HAND_ROUNDS) for e in rivals if e.name not in {rivals[0].name}}
    return tell_alternatives(rivals, shots, measure(rows, rounds, most), peaks)


def show(label: str, rounds: int) -> bool:
    """Check answers at one size and print all its tables; return whether the answers are right."""
    with tempfile.TemporaryDirectory(dir="/dev/shm", prefix="frame_") as name:  # memory, no disk
        folder, out = Path(name) / "plates", Path(name) / "out"
        material.write_material(folder, material.SIZES[label])
        shots = {align: material.make_shot(folder, out / align, align) for align in ALIGNS}
        sound = check_answers(label, shots)
        print(f"\n{label}, {rounds} rounds; CPU ms median, smallest")
        times = measure(make_rows(folder, out, shots), rounds)
        tell(times)
        sound &= show_alternatives(label, folder, out, shots, rounds)
        turns = take_turns(label, folder, min(TURNS, rounds))
        sound &= tell_scaling(turns)
        tell_cost(turns, statistics.median(times["frame, similarity"]))
        print()
        tell_memory(label, make_alone(folder, "similarity", 12))
        for workers, runs in turns.service.items():
            peaks = ", ".join(f"{peak:.0f}" for peak in runs[-1].slot_peaks)
            print(f"  {workers} slot(s) of the service, no drift: {peaks} MB each")
    return sound


def main() -> int:
    """Print everything for each size, or the long run's memory alone."""
    long = "--long" in sys.argv
    named = [each for each in sys.argv[1:] if each in material.SIZES]
    rounds = next((int(each) for each in sys.argv[1:] if each.isdigit()), 7)
    if not long:
        sound = [show(label, rounds) for label in named or material.SIZES]
        return 0 if all(sound) else 1
    for label in named or ["HD"]:
        with tempfile.TemporaryDirectory(dir="/dev/shm", prefix="frame_") as name:
            folder = Path(name) / "plates"
            material.write_material(folder, material.SIZES[label])
            tell_memory(label, make_alone(folder, "similarity", LONG))
    return 0


if __name__ == "__main__":
    sys.exit(main())
