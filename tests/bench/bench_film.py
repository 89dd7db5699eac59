"""What registration makes of a real film of a fixed camera, people walking through: run by hand.

    PYTHONPATH=jobs:workers:tests OPENBLAS_NUM_THREADS=1 python tests/bench/bench_film.py

Each frame of OpenCV's `vtest.avi` (`support.street_film`: apt-get install opencv-doc) against its
first one and against the one in the middle; the answer should be no motion. ``every=10`` takes
every tenth frame. All 795 take about 5 minutes of CPU.
"""

import sys
import time

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.registration.prepared import Prepared, prepare
from glimsum_workers.engine.registration.register import register
from support.street_film import COUNT, find_film, street_frames


def show(label: str, still: Prepared, frames: list[Prepared], every: int) -> None:
    """Print how far from rest the frames are found, along time too."""
    rows = []
    for each in frames:
        found = register(still, each, same_light=True)
        motion = found.motion
        rows.append((motion.dx, motion.dy, found.sigma_px, found.trusted, found.alarm))
    table: NDArray[np.float64] = np.array(rows, dtype=np.float64)
    off = 1000 * np.hypot(table[:, 0], table[:, 1])
    print(
        f"{label}: rms {np.sqrt(np.mean(off**2)):.1f} median {np.median(off):.1f} largest "
        f"{off.max():.1f} mpx (frame {every * int(off.argmax())}); sigma "
        f"{1000 * np.median(table[:, 2]):.1f}, trusted {int(table[:, 3].sum())} of {len(table)}, "
        f"alarm {np.median(table[:, 4]):.2f} to {table[:, 4].max():.2f}"
    )
    for part in np.array_split(np.arange(len(table)), 8):
        dx, dy = 1000 * table[part, 0], 1000 * table[part, 1]
        print(
            f"  frames {every * part[0]:3d} to {every * part[-1]:3d}: dx {dx.mean():6.1f} "
            f"+- {dx.std():4.1f}, dy {dy.mean():6.1f} +- {dy.std():4.1f} mpx"
        )


def main() -> None:
    """Print both tables."""
    every = next((int(word[6:]) for word in sys.argv[1:] if word.startswith("every=")), 1)
    start = time.process_time()
    frames = [prepare(each) for each in street_frames(find_film(), every)]
    print(f"{len(frames)} of {COUNT} frames, 768 x 576")
    show("against the first", frames[0], frames, every)
    show("against the middle", frames[len(frames) // 2], frames, every)
    print(f"{time.process_time() - start:.0f} s of CPU")


if __name__ == "__main__":
    main()
