"""How near and how fast the resample is, against SciPy, OpenCV and OpenImageIO: run by hand.

    PYTHONPATH=jobs:workers:tests OPENBLAS_NUM_THREADS=1 python tests/bench/bench_resample.py

Errors come from a drawn street photographed at the wanted place (`support.fine_scene`); times
are CPU of one thread, medians of interleaved rounds, on its photographs side by side with
camera noise. None but ours limits rings at lamps. OpenCV is no dependency of this project:
without it its rows are left out. Sizes and rounds can be named: ``... bench_resample.py HD 3``.
"""

import platform
import statistics
import sys
import time
import tracemalloc
from collections.abc import Callable
from importlib.util import find_spec

import numpy as np
import OpenImageIO
import scipy
from numpy.typing import NDArray
from scipy.ndimage import affine_transform, maximum_filter, shift

from glimsum_workers.engine.codes import Picture
from glimsum_workers.engine.motion import Motion
from glimsum_workers.engine.resample.resample import resample
from glimsum_workers.engine.resample.shifted import shift_channels
from support.fine_scene import FineScene, draw_street

Pixels = NDArray[np.float32]
Move = Callable[[Pixels, Motion], Pixels]
Row = tuple[str, str, str]
"""Name, kind of motion, scene."""
SIZES = {"small": (540, 960), "HD": (1080, 1920), "4K": (2160, 3840)}
EIGHTHS = [(3, -2), (4, 4), (-1, 5), (7, 1)]
INNER = (slice(16, -16), slice(16, -16))
MOTIONS = {"shift": Motion(1.3, -0.7), "similarity": Motion(1.3, -0.7, 0.02, 1.0003)}
SLOW = {"SciPy spline 3", "SciPy spline 5", "OpenImageIO lanczos3"}
"""Timed in one round only, and not at 4K."""


def ours(rgb: Pixels, motion: Motion) -> Pixels:
    """Return the picture as the product does."""
    return resample(Picture(rgb), motion).picture.rgb


def ours_free(rgb: Pixels, motion: Motion) -> Pixels:
    """Return our kernel alone; shifts only."""
    return shift_channels(rgb, motion.dx, motion.dy, (rgb.shape[0], rgb.shape[1]), None)


def spline(order: int) -> Move:
    """Return SciPy's B-spline, a plane at a time."""

    def move(rgb: Pixels, motion: Motion) -> Pixels:
        planes = [np.ascontiguousarray(rgb[..., k]) for k in range(3)]
        if motion.turn().tolist() == np.eye(2).tolist():
            step = (-motion.dy, -motion.dx)
            made = [shift(each, step, order=order, mode="nearest") for each in planes]
        else:
            matrix = motion.turn()[::-1, ::-1]
            middle = np.array(rgb.shape[:2]) / 2 - 0.5
            offset = middle - matrix @ middle + [motion.dy, motion.dx]
            whole = np.column_stack([matrix, offset])
            made = [affine_transform(each, whole, order=order, mode="nearest") for each in planes]
        return np.stack(made, axis=-1).astype(np.float32)

    return move


def oiio_lanczos(rgb: Pixels, motion: Motion) -> Pixels:
    """Return OpenImageIO's warp; its matrix maps source to result, row vectors."""
    height, width = rgb.shape[:2]
    back = motion.inverse()
    turn, middle = back.turn(), np.array([width / 2, height / 2])
    offset = middle - turn @ middle + [back.dx, back.dy]
    matrix = (turn[0, 0], turn[1, 0], 0, turn[0, 1], turn[1, 1], 0, offset[0], offset[1], 1)
    source = OpenImageIO.ImageBuf(np.ascontiguousarray(rgb))
    made = OpenImageIO.ImageBufAlgo.warp(
        source, tuple(float(each) for each in matrix), "lanczos3", 0.0, False, "clamp", nthreads=1
    )
    return np.asarray(made.get_pixels(OpenImageIO.FLOAT), dtype=np.float32)


def rivals() -> dict[str, Move]:
    """Return every way to move a picture that is here."""
    moves: dict[str, Move] = {
        "ours": ours,
        "ours, no limits at lamps": ours_free,
        "SciPy spline 3": spline(3),
        "SciPy spline 5": spline(5),
        "OpenImageIO lanczos3": oiio_lanczos,
    }
    if find_spec("cv2") is None:
        return moves
    import cv2

    cv2.setNumThreads(1)

    def warp(flag: int) -> Move:
        def move(rgb: Pixels, motion: Motion) -> Pixels:
            size, turn = (rgb.shape[1], rgb.shape[0]), motion.turn()
            middle = np.array(size) / 2 - 0.5
            offset = middle - turn @ middle + [motion.dx, motion.dy]
            matrix = np.column_stack([turn, offset])
            flags, border = flag | cv2.WARP_INVERSE_MAP, cv2.BORDER_REPLICATE
            made = cv2.warpAffine(rgb, matrix, size, flags=flags, borderMode=border)
            return np.asarray(made, dtype=np.float32)

        return move

    return moves | {
        "OpenCV warp lanczos4": warp(cv2.INTER_LANCZOS4),
        "OpenCV warp cubic": warp(cv2.INTER_CUBIC),
    }


def decibels(errors: list[Pixels]) -> float:
    """Return the PSNR of errors in light or codes, white at 1."""
    return float(-10 * np.log10(np.mean(np.concatenate([e.ravel() for e in errors]) ** 2.0)))


def show_errors(moves: dict[str, Move]) -> None:
    """Print day and ring-zone PSNR, lowest value, light, ramp error and distinct results."""
    street, night = draw_street(192, 288, 11), draw_street(192, 288, 12, bulbs=14)
    ramp = np.repeat(np.arange(80.0)[None, :, None], 64, 0).repeat(3, 2).astype(np.float32)
    noise = np.random.default_rng(1).random((24, 24, 3), dtype=np.float32)
    print(
        f"\n{'errors of shifts':28s}  day dB  ring dB   lowest  light %  ramp px  distinct of 500"
    )
    for name, move in moves.items():
        ring, low, gained = ring_errors(night, move)
        lean = [move(ramp, Motion(d / 25, 0.0))[32, 20:60, 0] - ramp[32, 20:60, 0] - d / 25
                for d in range(25)]  # fmt: skip
        made = {move(noise, Motion(d / 500, 0.0))[8:16, 8:16].tobytes() for d in range(500)}
        print(
            f"{name:28s}  {decibels(day_errors(street, move)):6.2f}  {decibels(ring):7.2f}"
            f"  {low:7.3f}  {100 * gained:7.3f}  {np.abs(lean).max():7.5f}  {len(made)}"
        )


def day_errors(street: FineScene, move: Move) -> list[Pixels]:
    """Return differences from the street photographed at the wanted place."""
    source = street.photograph()
    return [
        (move(source, Motion(right / 8, down / 8)) - street.photograph(right, down))[INNER]
        for right, down in EIGHTHS
    ]


def ring_errors(night: FineScene, move: Move) -> tuple[list[Pixels], float, float]:
    """Return differences of log2 light, a seventeenth a stop, about bulbs; lowest value; light.

    The light is the mean gain over the truth.
    """
    source, errors, low, gains = np.minimum(night.photograph(), 1), [], np.inf, []
    for right, down in EIGHTHS:
        truth = np.minimum(night.photograph(right, down), 1)
        moved = move(source, Motion(right / 8, down / 8))
        brightest = truth.max(axis=2)
        ring = ((maximum_filter(brightest, 17) >= 1) & (brightest < 0.9))[INNER]
        logs = [np.log2(np.maximum(each, 2.0**-10)) / 17 for each in (moved, truth)]
        errors.append((logs[0] - logs[1])[INNER][ring])
        low = min(low, float(moved.min()))
        gains.append(float(moved[INNER].sum(dtype=np.float64) / truth[INNER].sum()) - 1)
    return errors, low, float(np.mean(gains))


def make_pictures(height: int, width: int) -> dict[str, Pixels]:
    """Return a street by day and by night, photographs side by side, with camera noise."""
    random = np.random.default_rng(2)
    pictures: dict[str, Pixels] = {}
    for name, seed, bulbs in (("day", 11, 0), ("night", 12, 14)):
        one = np.minimum(draw_street(180, 320, seed, bulbs=bulbs).photograph(), 1)
        rgb = np.tile(one, (height // 180, width // 320, 1))
        noise = random.standard_normal(rgb.shape, dtype=np.float32)
        pictures[name] = rgb + noise * np.sqrt(rgb / 15000 + (4 / 15000) ** 2)
    return pictures


def choose_rows(label: str, moves: dict[str, Move]) -> list[Row]:
    """Return what is timed at a size."""
    rows: list[Row] = []
    for name in moves:
        if name in SLOW and label == "4K":
            continue
        kinds = ["shift"] if "no limits" in name else ["shift", "similarity"]
        scenes = ["day", "night"] if name == "ours" else ["day"]
        rows += [(name, kind, scene) for kind in kinds for scene in scenes]
    return rows


def show_times(label: str, moves: dict[str, Move], rounds: int) -> None:
    """Print CPU of a shift and of a similarity, by day and with bulbs, and our peak memory."""
    height, width = SIZES[label]
    pictures = make_pictures(height, width)
    rows = choose_rows(label, moves)
    times: dict[Row, list[float]] = {row: [] for row in rows}
    for turn in range(rounds):
        for name, kind, scene in rows:
            if name in SLOW and turn > 0:
                continue
            start = time.process_time()
            moves[name](pictures[scene], MOTIONS[kind])
            times[name, kind, scene].append(1000 * (time.process_time() - start))
    whole = pictures["day"].nbytes / 2**20
    print(f"\n{label} {width} x {height}, {whole:.0f} MB a picture; CPU ms")
    for name, kind, scene in sorted(rows, key=lambda row: row[1]):
        memory = ""
        if name.startswith("ours"):
            tracemalloc.start()
            moves[name](pictures[scene], MOTIONS[kind])
            peak = tracemalloc.get_traced_memory()[1] / 2**20
            tracemalloc.stop()
            memory = f"  peak {peak:4.0f} MB, result included"
        taken = times[name, kind, scene]
        middle = statistics.median(taken)
        ratio = middle / statistics.median(times["ours", kind, "day"])
        print(
            f"{kind:11s} {name:26s} {scene:6s} {middle:8.0f} (min {min(taken):7.0f})"
            f"  {ratio:6.2f} x ours by day{memory}"
        )


def main() -> None:
    """Print machine, versions and the tables."""
    chosen = [each for each in sys.argv[1:] if each in SIZES] or list(SIZES)
    numbers = [int(each) for each in sys.argv[1:] if each.isdigit()]
    print(platform.machine(), sys.version.split()[0], "NumPy", np.__version__)
    print("SciPy", scipy.__version__, "OpenImageIO", OpenImageIO.VERSION_STRING)
    moves = rivals()
    show_errors(moves)
    for label in chosen:
        show_times(label, moves, numbers[0] if numbers else 5)


if __name__ == "__main__":
    main()
