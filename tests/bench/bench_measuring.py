"""What measuring the drift of one frame costs against combining it: run it by hand.

    PYTHONPATH=jobs:workers:services:tests OPENBLAS_NUM_THREADS=1 \
        python tests/bench/bench_measuring.py [960 HD 4K] [rounds]

Material: the shipped harbour passes (reference, beauty, practicals, flash, haze), side by side as
often as the size asks for, as 10-bit DPX. Two rows for each size and camera:

frame  two frames on which the flash burns. Measuring is what a worker does for all passes of one
       when it has kept the other (the hold frame of a locked camera, the next one of a moving
       camera: its first frame costs most); combining is decode, drift, sum, master and preview.
shot   six frames, the flash burning on two: all of it measured, with nothing kept before, and all
       of it combined; what a frame of it costs.

CPU of the process, interleaved, medians; memory is numpy's peak.
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

import numpy as np

from bench.measuring_costs import FRAMES, SHOT, SIZES, Costs, write_material
from glimsum_workers.footage.material import Material
from glimsum_workers.frames.kept import Keep
from glimsum_workers.measuring import prepared_pictures, track_shot

PARTS = ("decode", "prepare", "register", "keep")
Parts = dict[str, float]


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
            write_material(Path(name), SIZES[label], FRAMES[camera])
            compare_frame(f"{label:4s} {camera:7s}", Costs(Path(name), camera), rounds)
        with tempfile.TemporaryDirectory(prefix="glimsum_costs_") as name:
            write_material(Path(name), SIZES[label], SHOT[camera])
            costs = Costs(Path(name), camera, len(SHOT[camera]))
            compare_shot(f"{label:4s} {camera:7s}", costs, rounds)


def compare_frame(label: str, costs: Costs, rounds: int) -> None:
    """Print what one frame costs."""
    measuring, combining = list[float](), list[float]()
    parts = defaultdict[str, list[float]](list)
    for _ in range(rounds):
        told: Parts = defaultdict(float)
        with costs.tracker() as tracker, watched(told):
            measuring.append(clock(partial(costs.measure, tracker, costs.frame)))
        for part in PARTS:
            parts[part].append(told[part])
        combining.append(clock(partial(costs.combine, costs.frame)))
    shares = "".join(f"{statistics.median(parts[part]):10.0f}" for part in PARTS)
    with costs.tracker() as tracker:
        most = peak(partial(costs.measure, tracker, costs.frame))
    memory = f"{most:10.0f}{peak(partial(costs.combine, costs.frame)):8.0f}"
    print_row(f"{label} frame", measuring, combining, shares + memory)
    costs.bench.close()


def compare_shot(label: str, costs: Costs, rounds: int) -> None:
    """Print what a frame of a whole shot costs."""
    measuring, combining = list[float](), list[float]()
    told: Parts = defaultdict(float)
    for _ in range(rounds):
        with watched(told):
            measuring.append(clock(costs.measure_shot) / len(costs.job.frames.numbers))
        combining.append(clock(costs.combine_shot) / len(costs.job.frames.numbers))
    times = rounds * len(costs.job.frames.numbers)
    shares = "".join(f"{told[part] / times:10.0f}" for part in PARTS)
    print_row(f"{label} shot ", measuring, combining, shares)
    costs.bench.close()


def print_row(label: str, measuring: list[float], combining: list[float], rest: str) -> None:
    """Print the medians of both and how they compare."""
    both = statistics.median(measuring), statistics.median(combining)
    print(f"{label}{both[0]:9.0f}{both[1]:10.0f}{both[0] / both[1]:7.2f}{rest}", flush=True)


def main() -> None:
    """Print versions and a row for each size and camera."""
    chosen = [each for each in sys.argv[1:] if each in SIZES] or list(SIZES)
    numbers = [int(each) for each in sys.argv[1:] if each.isdigit() and each not in SIZES]
    print(sys.version.split()[0], "numpy", np.__version__, "- CPU ms, a frame of 5 passes; MB")
    print("size camera  of       measure   combine  ratio" + "".join(f"{p:>10s}" for p in PARTS)
          + "   measure combine")  # fmt: skip
    for label in chosen:
        compare(label, numbers[0] if numbers else 5)


if __name__ == "__main__":
    main()
