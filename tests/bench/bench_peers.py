"""Registration against general methods, pass by pass: error, failures and CPU, run by hand.

    PYTHONPATH=jobs:workers:tests OPENBLAS_NUM_THREADS=1 python tests/bench/bench_peers.py

Peers: scikit-image's `phase_cross_correlation` (1/100 px), OpenCV's `phaseCorrelate` (Hann window)
and `findTransformECC` (translation, from rest, Gaussian of 5 px). They are given log light (offset
at the read noise), as a camera would code it, no mask and no tuning. All take each pair in turn, so
that a busy machine is as unfair to each. ``HD`` takes larger pictures, ``each=2`` fewer pairs.
Rms is over the pairs that did not fail (0.5 px). Without OpenCV its columns are left out.
"""

import statistics
import sys
import time
from collections.abc import Callable
from importlib import import_module
from importlib.metadata import version
from importlib.util import find_spec
from typing import Any

import numpy as np
from numpy.typing import NDArray
from skimage.registration import phase_cross_correlation

from glimsum_workers.engine.motion import STILL
from glimsum_workers.engine.registration.bands import band_for
from glimsum_workers.engine.registration.prepared import prepare
from glimsum_workers.engine.registration.register import register
from support.alignment_draws import FAILURE_PX, LIGHTS, Draw
from support.clutter import Stock
from support.clutter_film import Recorded
from support.clutter_pairs import draw_shift, forget_scenes, rms

Size = tuple[int, int]
Shift = tuple[float, float]
Method = Callable[[Recorded, Recorded, str], Shift]

SIZES: dict[str, Size] = {"960x540": (540, 960), "HD": (1080, 1920), "small": (270, 480)}
SCENES: tuple[tuple[Stock, int], ...] = (("mixed", 231), ("crates", 232))


def ours(reference: Recorded, shot: Recorded, light: str) -> Shift:
    """Prepare both and register, all freedom that a job has."""
    band = band_for(same_light=light == "full")
    pair = [prepare(each.light, clipped=each.clipped, band=band) for each in (reference, shot)]
    motion = register(*pair, same_light=light == "full").motion
    return motion.dx, motion.dy


def phases(reference: Recorded, shot: Recorded, light: str) -> Shift:
    """scikit-image; its shift has the opposite sign."""
    del light
    find: Any = phase_cross_correlation
    shift, *_ = find(as_log(reference), as_log(shot), upsample_factor=100)
    return -float(shift[1]), -float(shift[0])


def opencv_phases(reference: Recorded, shot: Recorded, light: str) -> Shift:
    """OpenCV's phase correlation."""
    del light
    cv2: Any = import_module("cv2")
    one, two = as_log(reference), as_log(shot)
    window = cv2.createHanningWindow(one.shape[::-1], cv2.CV_32F)
    (dx, dy), _ = cv2.phaseCorrelate(one, two, window)
    return float(dx), float(dy)


def opencv_ecc(reference: Recorded, shot: Recorded, light: str) -> Shift:
    """OpenCV's enhanced correlation coefficient; not a number where it gives up."""
    del light
    cv2: Any = import_module("cv2")
    stop = cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 50, 1e-5
    start = np.eye(2, 3, dtype=np.float32)
    one, two = as_log(reference), as_log(shot)
    try:
        _, warp = cv2.findTransformECC(one, two, start, cv2.MOTION_TRANSLATION, stop, None, 5)
    except cv2.error:
        return float("nan"), float("nan")
    return float(warp[0, 2]), float(warp[1, 2])


def as_log(picture: Recorded) -> NDArray[np.float32]:
    """Return log2 of the light."""
    return np.log2(np.maximum(picture.light, 0) + np.float32(4 / 15000)).astype(np.float32)


def cell(errors: list[float], times: list[float]) -> str:
    """Return rms of those that did not fail, mpx, failures, and the middle CPU time, ms."""
    kept = [1000 * each for each in errors if each <= FAILURE_PX]
    told = f"{rms(kept):6.1f}" if kept else "     -"
    return f"{told} f{len(errors) - len(kept):<2d}{statistics.median(times):6.0f}"


def main() -> None:
    """Print versions and the table."""
    words = sys.argv[1:]
    size = next((SIZES[word] for word in words if word in SIZES), SIZES["960x540"])
    each = next((int(word[5:]) for word in words if word.startswith("each=")), 4)
    methods: dict[str, Method] = {"glimsum": ours, "scikit-image": phases}
    if find_spec("cv2") is not None:
        cv2: Any = import_module("cv2")
        cv2.setNumThreads(1)
        print("OpenCV", cv2.__version__, end=", ")
        methods |= {"OpenCV phases": opencv_phases, "OpenCV ECC": opencv_ecc}
    print(f"scikit-image {version('scikit-image')}, numpy {np.__version__}, {size[1]} x {size[0]}")
    errors: dict[tuple[str, str], list[float]] = {(m, k): [] for m in methods for k in LIGHTS}
    times: dict[tuple[str, str], list[float]] = {(m, k): [] for m in methods for k in LIGHTS}
    for stock, seed in SCENES:
        forget_scenes()
        for number in range(each * len(LIGHTS)):
            light = LIGHTS[number % len(LIGHTS)]
            scene = Draw(stock, seed, light, number).scene(size)
            reference, truth = scene.shoot("full", STILL, 1), draw_shift(50_000 + seed + number)
            shot = scene.shoot(light, truth, 60_000 + number)
            for name, method in methods.items():
                start = time.process_time()
                dx, dy = method(reference, shot, light)
                times[name, light].append(1000 * (time.process_time() - start))
                # What gave up has failed.
                off = float(np.hypot(dx - truth.dx, dy - truth.dy))
                errors[name, light].append(off if np.isfinite(off) else np.inf)
    print("rms mpx, failures (f), CPU ms of one pair, both pictures made ready\n")
    print(f"{'':12s}" + "".join(f"{name:>18s}" for name in methods))
    for light in LIGHTS:
        cells = "".join(f"{cell(errors[m, light], times[m, light]):>18s}" for m in methods)
        print(f"{light:12s}{cells}")
    totals = []
    for name in methods:
        all_errors = [each for light in LIGHTS for each in errors[name, light]]
        totals.append(cell(all_errors, [each for light in LIGHTS for each in times[name, light]]))
    print(f"{'all':12s}" + "".join(f"{each:>18s}" for each in totals))


if __name__ == "__main__":
    main()
