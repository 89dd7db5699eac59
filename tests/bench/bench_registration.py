"""Registration against scikit-image and OpenCV on the cluttered quay: run it by hand.

    PYTHONPATH=jobs:workers:tests python tests/bench/bench_registration.py [HD]

Prints errors (rms over draws, thousandths of a pixel) and medians of interleaved CPU times. The
other methods are given log light (offset at the read noise), as a camera would code it, no mask
and no tuning. OpenCV is left out where it isn't installed.
"""

import statistics
import sys
import time
import tracemalloc
from collections.abc import Callable
from functools import partial
from importlib import import_module
from importlib.util import find_spec
from typing import Any

import numpy as np
from skimage.registration import phase_cross_correlation

from glimsum_workers.engine.motion import STILL
from glimsum_workers.engine.registration.prepared import prepare
from glimsum_workers.engine.registration.register import register
from support.clutter_film import Recorded
from support.clutter_pairs import Set, draw_shift, rms

SIZES = {"960 x 540": (540, 960), "HD": (1080, 1920)}
LIGHTS = ("full", "side", "practicals", "dark", "flash", "fog")
DRAWS = 3

Shift = tuple[float, float]


def ours(reference: Recorded, shot: Recorded, light: str) -> Shift:
    """Prepare both and register."""
    pair = [prepare(each.light, clipped=each.clipped) for each in (reference, shot)]
    motion = register(*pair, same_light=light == "full").motion
    return motion.dx, motion.dy


def phases(reference: Recorded, shot: Recorded, light: str) -> Shift:
    """scikit-image's phase correlation of log pictures, 1/100 pixel."""
    del light
    find: Any = phase_cross_correlation
    shift, *_ = find(as_log(reference), as_log(shot), upsample_factor=100)
    return -float(shift[1]), -float(shift[0])


def opencv(reference: Recorded, shot: Recorded, light: str) -> Shift:
    """OpenCV's phase correlation of log pictures, Hann window."""
    del light
    cv2: Any = import_module("cv2")
    one, two = as_log(reference), as_log(shot)
    window = cv2.createHanningWindow(one.shape[::-1], cv2.CV_32F)
    (dx, dy), _ = cv2.phaseCorrelate(one, two, window)
    return float(dx), float(dy)


def as_log(picture: Recorded) -> np.ndarray[Any, np.dtype[np.float32]]:
    return np.log2(np.maximum(picture.light, 0) + np.float32(4 / 15000)).astype(np.float32)


def clock(run: Callable[[], object]) -> float:
    """Return the CPU time of one run, ms."""
    start = time.process_time()
    run()
    return 1000 * (time.process_time() - start)


def compare(size: tuple[int, int]) -> None:
    """Print errors and times of every method at one size."""
    methods = {"glimsum": ours, "scikit-image": phases}
    if find_spec("cv2") is not None:
        methods["OpenCV"] = opencv
    quay = Set(53, size)
    reference = quay.shoot("full", STILL, 1)
    times: dict[str, list[float]] = {name: [] for name in (*methods, "register", "prepare")}
    print(f"{'light':12s}" + "".join(f"{name:>14s}" for name in methods))
    for light in LIGHTS:
        errors: dict[str, list[float]] = {name: [] for name in methods}
        for draw in range(DRAWS):
            truth = draw_shift(900 + draw)
            shot = quay.shoot(light, truth, 950 + draw)
            for name, method in methods.items():
                start = time.process_time()
                dx, dy = method(reference, shot, light)
                times[name].append(1000 * (time.process_time() - start))
                errors[name].append(float(np.hypot(dx - truth.dx, dy - truth.dy)))
            pair = prepare(reference.light), prepare(shot.light, clipped=shot.clipped)
            times["register"].append(clock(partial(register, *pair)))
            times["prepare"].append(clock(partial(prepare, shot.light)))
        print(f"{light:12s}" + "".join(f"{1000 * rms(each):14.1f}" for each in errors.values()))
    base = statistics.median(times["scikit-image"])
    for name, each in times.items():
        middle = statistics.median(each)
        print(f"{name:14s} {middle:8.0f} ms CPU (min {min(each):6.0f}) {middle / base:6.2f} x")
    pair = prepare(reference.light), prepare(reference.light)
    tracemalloc.start()
    register(*pair)
    print(f"peak memory of register {tracemalloc.get_traced_memory()[1] / 2**20:.0f} MB")
    tracemalloc.stop()


def main() -> None:
    """Print versions and a table for each size asked for."""
    print(sys.version.split()[0], "numpy", np.__version__)
    for name in sys.argv[1:] or ["960 x 540"]:
        print(f"\n{name}")
        compare(SIZES[name])


if __name__ == "__main__":
    main()
