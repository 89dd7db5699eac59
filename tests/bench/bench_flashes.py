"""CPU milliseconds a frame of the flash guard, beside writing the same frames as a movie.

Run it as ``python tests/bench/bench_flashes.py``. Textured pictures with grain that flash on every
third frame, so that every part of the guard is at work; frames of both are interleaved, medians.
"""

import platform
import tempfile
import time
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from statistics import median

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.flashes.guard import FlashGuard
from glimsum_workers.frames.movies import write_movie

SIZES = ((540, 960), (1080, 1920), (2160, 3840))
FRAMES = 30


def film(height: int, width: int) -> Iterator[NDArray[np.uint8]]:
    """Yield pictures of blocks and grain, lit on every third frame."""
    random = np.random.default_rng(1)
    blocks = random.integers(10, 90, (height // 20, width // 20, 3))
    ground = np.repeat(np.repeat(blocks, 20, axis=0), 20, axis=1)
    for frame in range(FRAMES):
        lit = 2 if frame % 3 == 0 else 1
        grain = random.integers(0, 12, ground.shape)
        yield (ground * lit + grain).astype(np.uint8)


def measure(height: int, width: int, folder: Path) -> tuple[float, float, float]:
    """Return median and longest of a look, and what writing took a frame, milliseconds."""
    guard = FlashGuard(height, width, Fraction(24), "srgb_rec709_display")
    looks: list[float] = []
    spent = [0.0]

    def watched() -> Iterator[NDArray[np.uint8]]:
        begun = time.process_time()
        for picture in film(height, width):
            before = time.process_time()
            guard.look(picture)
            looks.append(time.process_time() - before)
            spent[0] += time.process_time() - begun
            yield picture
            begun = time.process_time()

    begun = time.process_time()
    write_movie(folder, "a.mp4", watched(), Fraction(24), token="bench")
    writing = time.process_time() - begun - spent[0]
    return 1e3 * median(looks), 1e3 * max(looks), 1e3 * writing / FRAMES


def main() -> None:
    """Print the figures of this machine."""
    print(platform.platform(), platform.python_version(), "numpy", np.__version__)
    for height, width in SIZES:
        with tempfile.TemporaryDirectory() as folder:
            look, longest, writing = measure(height, width, Path(folder))
        print(f"{width} x {height}: guard {look:.1f} (longest {longest:.1f}), movie {writing:.1f}")


if __name__ == "__main__":
    main()
