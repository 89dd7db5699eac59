"""Frames made by a worker's own code in a process of its own: no service, no queue, no ledger.

    python tests/bench/bare_frames.py FOLDER OUT [--align similarity] [--count 24] [--share 0/1]

Called by `bench_frame`. Prints one line of JSON: of each frame when it began and ended and its
processor time; digests of the pixels; peak memory after 3, 10, 100 and 1,000 frames and the last.
Of two processes that share a shot, ``--share 0/2`` makes every second frame.
"""

import argparse
import json
import subprocess
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from bench import frame_material as material
from bench.machine_use import peak_mb
from bench.rates import Spans

TOLD_AFTER = (3, 10, 100, 300, 1000)
MOST_A_SHOT = 200
"""Frames; the check wants room for all masters of a shot, uncompressed."""


@dataclass(frozen=True)
class Made:
    """What one such process told."""

    spans: list[tuple[float, float]]
    cpu: list[float]
    """Of each frame, s."""
    peaks: dict[int, float]
    """MB, by the number of frames made."""
    digests: set[str]


def start_bare(
    folder: Path, out: Path, *, align: str, count: int, processes: int
) -> list[subprocess.Popen[str]]:
    """Start processes that share `count` frames of the material."""
    material.lengthen(folder, count)
    words = [sys.executable, __file__, str(folder), "--align", align, "--count", str(count)]
    return [
        subprocess.Popen(
            [*words, "--out", str(out / str(index)), "--share", f"{index}/{processes}"],
            stdout=subprocess.PIPE,
            text=True,
        )
        for index in range(processes)
    ]


def await_bare(running: Sequence[subprocess.Popen[str]]) -> list[Made]:
    """Wait for them and return what they told."""
    found = []
    for told, process in [(each.communicate()[0], each) for each in running]:
        if process.returncode:
            raise RuntimeError(f"a process of frames ended with {process.returncode}")
        tree = json.loads(told)
        peaks = {int(number): peak for number, peak in tree["peaks"].items()}
        spans = [(begun, ended) for begun, ended in tree["spans"]]
        found.append(Made(spans, tree["cpu"], peaks, set(tree["digests"])))
    return found


def spans_of(made: Sequence[Made]) -> Spans:
    """Return the spans of several by a name for each."""
    return {f"bare {index}": each.spans for index, each in enumerate(made)}


def make_frames(folder: Path, out: Path, *, align: str, count: int, share: tuple[int, int]) -> Made:
    """Make a share of the frames; what was written is removed after each.

    Beyond 200 frames they are those of several shots: one shot after the other, by one process.
    """
    made = Made([], [], {}, set())
    for number, first in enumerate(range(0, count, MOST_A_SHOT)):
        frames = min(count - first, MOST_A_SHOT)
        _make_shot(material.make_shot(folder, out / str(number), align, frames), share, made)
    made.peaks[len(made.cpu)] = peak_mb()
    return made


def _make_shot(shot: material.Shot, share: tuple[int, int], made: Made) -> None:
    for frame in list(shot.bench.job.frames.numbers)[share[0] :: share[1]]:
        begun, cpu = time.time(), time.process_time()
        left = shot.write(frame)
        made.cpu.append(time.process_time() - cpu)
        made.spans.append((begun, time.time()))
        made.digests.add(left.digest)
        (shot.version / "master" / left.name).unlink()
        (shot.version / "preview" / left.preview).unlink()
        if len(made.cpu) in TOLD_AFTER:
            made.peaks[len(made.cpu)] = peak_mb()
    shot.bench.close()


def main() -> None:
    """Make frames and print what it took."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--align", default="similarity")
    parser.add_argument("--count", type=int, default=24)
    parser.add_argument("--share", default="0/1")
    asked = parser.parse_args()
    mine, all_of_us = (int(each) for each in asked.share.split("/"))
    made = make_frames(
        asked.folder, asked.out, align=asked.align, count=asked.count, share=(mine, all_of_us)
    )
    print(json.dumps(vars(made) | {"digests": sorted(made.digests)}))


if __name__ == "__main__":
    main()
