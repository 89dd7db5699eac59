"""How long one step of the recipe takes, against the plainest numpy: run it by hand."""

import platform
import statistics
import sys
import time
import tracemalloc
from collections.abc import Callable

import numpy as np

from glimsum_workers.engine.codes import Picture
from glimsum_workers.engine.combine import combine_step, lay_ground
from glimsum_workers.engine.half import to_half

ROUNDS = 9
SIZES = {"HD": (1080, 1920), "4K": (2160, 3840)}
TINT = np.array([[1.2, 0.02, -0.01], [0.01, 0.95, 0.01], [0.0, 0.01, 0.7]])


def plain_step(ground: Picture, source: Picture, matrix: object, matte: object) -> Picture:
    """Return what a first draft would write: whole pictures, a new array for every thought."""
    assert ground.alpha is not None
    rgb = source.rgb if matrix is None else source.rgb @ np.asarray(matrix).T
    alpha = np.ones(source.rgb.shape[:2], dtype=np.float32)
    if matte is not None:
        rgb, alpha = rgb * np.asarray(matte)[..., None], alpha * np.asarray(matte)
    return Picture((ground.rgb + rgb).astype(np.float32), np.clip(ground.alpha + alpha, 0, 1))


def measure(rows: dict[str, Callable[[], object]]) -> None:
    """Print medians of interleaved rounds and the peak of what each allocates."""
    times: dict[str, list[float]] = {name: [] for name in rows}
    for run in rows.values():
        run()
    for _ in range(ROUNDS):
        for name, run in rows.items():
            start = time.process_time()
            run()
            times[name].append(1000 * (time.process_time() - start))
    base = statistics.median(times["copy of a picture"])
    for name, run in rows.items():
        tracemalloc.start()
        run()
        peak = tracemalloc.get_traced_memory()[1] / 2**20
        tracemalloc.stop()
        middle = statistics.median(times[name])
        print(
            f"{name:34s} {middle:8.1f} ms CPU (min {min(times[name]):7.1f})"
            f"  {middle / base:6.1f} x copy  {peak:7.1f} MB"
        )


def measure_size(label: str, height: int, width: int) -> None:
    """Print the table of one picture size, after checking that both ways agree."""
    random = np.random.default_rng(1)
    source = Picture(random.random((height, width, 3), dtype=np.float32))
    matte = random.random((height, width), dtype=np.float32)
    target, ground = np.empty_like(source.rgb), lay_ground(height, width)
    combine_step(ground, source, matrix=TINT, matte=matte)
    expected = plain_step(lay_ground(height, width), source, TINT, matte)
    np.testing.assert_allclose(ground.rgb, expected.rgb, rtol=1e-5, atol=1e-6)
    print(f"\n{label} {width} x {height}")
    gain = np.eye(3) * 0.7
    measure(
        {
            "copy of a picture": lambda: np.copyto(target, source.rgb),
            "plus": lambda: combine_step(ground, source),
            "plus, gain": lambda: combine_step(ground, source, matrix=gain),
            "plus, tint": lambda: combine_step(ground, source, matrix=TINT),
            "plus, tint, matte": lambda: combine_step(ground, source, matrix=TINT, matte=matte),
            "over, matte": lambda: combine_step(ground, source, "over", matte=matte),
            "to_half": lambda: to_half(source.rgb),
            "plain numpy: gain": lambda: plain_step(ground, source, gain, None),
            "plain numpy: tint, matte": lambda: plain_step(ground, source, TINT, matte),
        }
    )


def main() -> None:
    """Print machine, versions and the tables."""
    print(platform.processor() or platform.machine(), sys.version.split()[0], np.__version__)
    for label, (height, width) in SIZES.items():
        measure_size(label, height, width)


if __name__ == "__main__":
    main()
