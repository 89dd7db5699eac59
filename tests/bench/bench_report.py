"""Time of the night report over many long shots: cold, asked again, and while one frame is added.

``python tests/bench/bench_report.py --shots 100 --frames 10000``

Every shot is laid out as its workers would leave it: line files on the disk, its standing in a
real ledger, one frame in a hundred set aside for one of three reasons.
"""

import argparse
import json
import resource
import sys
import tempfile
import time
from pathlib import Path

sys.path[:0] = [
    str(Path(__file__).parents[2] / part) for part in ("jobs", "workers", "services", "tests")
]

from glimsum_jobs.ledger import (  # noqa: E402  # the paths come first
    Cause,
    Failure,
    ItemRecord,
    ItemState,
    RunState,
    Stage,
)
from glimsum_jobs.restored import RestoredRun, Wishes  # noqa: E402  # the same
from glimsum_services.job_file import Asked  # noqa: E402  # the same
from glimsum_services.report.night import Reporter  # noqa: E402  # the same
from glimsum_services.store.ledger import RedisLedger  # noqa: E402  # the same
from glimsum_services.store.machines import Machines  # noqa: E402  # the same
from glimsum_services.store.restore import Restorer  # noqa: E402  # the same
from glimsum_services.store.shots import Shots  # noqa: E402  # the same
from glimsum_services.store.troubles import Troubles  # noqa: E402  # the same
from glimsum_services.submit import Submissions  # noqa: E402  # the same
from support.server import running_server  # noqa: E402  # the same
from support.small_shots import exr_pass, small_shot  # noqa: E402  # the same

CHECKED = {"passes": {}, "mattes": {}, "problems": [], "needed_bytes": 1, "free_bytes": 2}
REASONS = ("key.0001.exr is cut off", "no light", "it ended its process")


def result(shot: str, frame: int) -> dict[str, object]:
    """Return what a frame leaves behind, as long as a real one."""
    return {
        "frame": frame,
        "digest": f"{frame:064x}",
        "file_digest": f"{frame:064x}",
        "name": f"{shot}_v001.{frame}.exr",
        "bytes": 12_345_678,
        "fingerprint": f"{frame:064x}",
        "preview": f"{shot}_v001.{frame}.jpg",
        "figures": {"clipped": 0.001 * (frame % 7), "negative": 0.2, "replaced": 0, "clamped": 0},
        "remarks": [],
        "seconds": 1 + frame % 13 / 10,
    }


def lay_out(place: Path, shots: Shots, ledger: RedisLedger, number: int, frames: int) -> int:
    """Make one shot; return the bytes of its line file."""
    name = f"shot_{number:03d}"
    job = small_shot(
        shot=name,
        output=f"out:{name}",
        passes={"key": exr_pass("key")},
        frames={"first": 1001, "last": 1000 + frames},
    )
    (taken,) = Submissions(shots, ledger, {"out": place}).submit(Asked(None, (job,), ("",), ()))
    now = time.time()
    lines, items = [], []
    for frame in range(1001, 1001 + frames):
        if frame % 100 == 0:
            message = REASONS[frame // 100 % 3]
            failure = Failure(cause=Cause.BAD_SOURCE, kind="SourceError", message=message)
            items.append(ItemRecord(item=str(frame), state=ItemState.SET_ASIDE, failure=failure))
            continue
        told = result(name, frame)
        items.append(
            ItemRecord(item=str(frame), state=ItemState.DONE, worker="m/1", tries=1, result=told)
        )
        line = {"stage": "combine", "item": str(frame), "token": frame, "worker": "m/1"}
        line |= {"host": f"host{frame % 3}", "ended": now - frames + frame - 1000, "seconds": 1.0}
        lines.append(json.dumps({**line, "result": told}))
    folder = place / name / "v001" / "lines"
    folder.mkdir()
    text = "\n".join(lines) + "\n"
    (folder / "m-1.jsonl").write_text(text)
    check = ItemRecord(item="shot", state=ItemState.DONE, worker="m/1", result=CHECKED)
    run = RestoredRun(
        run=taken.order.run,
        stages={Stage.CHECK: (check,), Stage.COMBINE: tuple(items)},
        begun=now - frames,
        ended=now,
        state=RunState.DONE_WITH_REMARKS,
        wishes=Wishes(),
        damaged=(),
    )
    ledger.end(taken.order.run, RunState.DONE)
    assert Restorer(ledger._client).restore(run, replace=True)  # a bench
    return len(text)


def main() -> None:
    """Lay everything out and print the table."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--shots", type=int, default=100)
    asked.add_argument("--frames", type=int, default=10_000)
    told = asked.parse_args()
    with tempfile.TemporaryDirectory() as folder, running_server() as (client, _):
        place, shots, ledger = Path(folder), Shots(client), RedisLedger(client)
        sizes = [lay_out(place, shots, ledger, n, told.frames) for n in range(told.shots)]
        print(f"{told.shots} shots x {told.frames} frames, {sum(sizes) / 2**20:.0f} MiB of lines")
        reporter = Reporter(shots, ledger, Troubles(client), Machines(client), {"out": place})
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        for name in ("cold", *(f"again {n}" for n in range(1, 20))):
            begun, cpu = time.perf_counter(), time.process_time()
            report = reporter.night(time.time() - 86_400)
            text = report.model_dump_json()
            seconds, cpu = time.perf_counter() - begun, time.process_time() - cpu
            read = sum(shot.frame_seconds is not None for shot in report.shots)
            print(
                f"{name:<9}{seconds:7.2f} s ({cpu:.2f} s CPU), {len(text) / 1024:.0f} KiB, "
                f"times of {read} of {len(report.shots)} shots, {len(report.first)} first, "
                f"{report.more_first} more"
            )
            if name != "cold" and read == len(report.shots) and not report.notes:
                break
        after = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        print(f"memory of the report: {(after - before) / 1024:.0f} MiB more at its peak")


if __name__ == "__main__":
    main()
