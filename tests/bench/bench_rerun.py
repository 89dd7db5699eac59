"""CPU time of later versions over the first one, on the shipped harbour, in one process.

``python tests/bench/bench_rerun.py [--align none] [--times 2]``

Everything of a run is in it: check, measuring, solving, frames, movie, contact sheet, digests.
The passes are 960 x 540 pixels; ``--times 2`` and ``4`` enlarge them to HD and 4K first.
"""

import argparse
import dataclasses
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

sys.path[:0] = [
    str(Path(__file__).parents[2] / part) for part in ("jobs", "workers", "services", "tests")
]

from bench.enlarged import enlarge_passes  # noqa: E402  # the paths come first
from support.harbour import shipped_harbour  # noqa: E402  # same
from support.harbour_jobs import PLATES, harbour_job, harbour_roots, raw_harbour_job  # noqa: E402  # same
from support.run_here import open_run, work_through  # noqa: E402  # the same


def main() -> None:
    """Print a line a version."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--align", default="similarity")
    parser.add_argument("--times", type=int, default=1)
    asked = parser.parse_args()
    align = asked.align
    shot = shipped_harbour()
    passes = {n: {"align": align} for n, p in raw_harbour_job(shot)["passes"].items()
              if "use" not in p}  # fmt: skip
    plain = harbour_job(shot, passes=passes, viewing={"movie": "h264"})
    steps = [step.model_dump(mode="json", by_alias=True, exclude_none=True) for step in plain.steps]
    last = {"frame": plain.frames.last, "value": steps[0]["stops"] - 0.25}
    before = {"frame": plain.frames.last - 1, "value": steps[0]["stops"]}
    one = [{**steps[0], "stops": [before, last]}, *steps[1:]]
    every = [{**steps[0], "stops": steps[0]["stops"] - 0.5}, *steps[1:]]
    versions: list[tuple[str, dict[str, Any], bool]] = [
        ("first", {}, True),
        ("unchanged", {}, True),
        ("a gain on the last frame", {"recipe": one}, True),
        ("a gain on all frames", {"recipe": every}, True),
        ("unchanged, combined anew", {}, False),
    ]
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "out"
        out.mkdir()
        roots = harbour_roots(shot, out)
        if asked.times > 1:
            roots[PLATES] = enlarge_passes(shot.passes, Path(folder) / "large", asked.times)
        first = 0.0
        size = f"{960 * asked.times} x {540 * asked.times}"
        print(f"{plain.frames.count} frames of {size}, align: {align}")
        for number, (words, changes, reuse) in enumerate(versions, 1):
            job = harbour_job(shot, passes=passes, viewing={"movie": "h264"}, **changes)
            run = open_run(job, roots, version=number)
            order = run.order.model_copy(update={"reuse": reuse})
            start = time.process_time()
            run = work_through(dataclasses.replace(run, order=order))
            spent = time.process_time() - start
            first = first or spent
            print(
                f"{words:28} {spent:7.2f} s CPU  {spent / first:5.3f} of the first  "
                f"{run.finished.reused} of {run.finished.frames} taken over"
            )


if __name__ == "__main__":
    main()
