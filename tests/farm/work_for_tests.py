"""A worker whose work is small files and sleep, for tests of the farm; run as a program.

The order of a run is its name. An item writes one line for each begin, and one file at its end:
what happened can be told from outside the ledger.
"""

import ctypes
import json
import logging
import os
import signal
import sys
import time
from collections.abc import Callable, Mapping
from hashlib import sha256
from pathlib import Path
from typing import Any

from glimsum_jobs.errors import SourceError
from glimsum_jobs.ledger import SINGLE_ITEM, Claim, Control, ItemRecord, ItemState, RunState, Stage
from glimsum_jobs.plan import NextStage
from glimsum_services.farm import run_worker
from glimsum_services.settings import load_settings

FOLDER = "GLIMSUM_TEST_FOLDER"


class NamedOrders:
    """Gives the wishes of a run, a JSON file of its name."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def order(self, run: str) -> Mapping[str, Any]:
        wishes = json.loads((self.folder / f"{run.replace('/', '_')}.json").read_text())
        return {"run": run, **wishes}


def keep_order(folder: Path, run: str, **wishes: Any) -> None:
    """Say what `run` is: frames, seconds, poison, bad, hang, kinds of trouble."""
    (folder / f"{run.replace('/', '_')}.json").write_text(json.dumps(wishes))


def plan(
    order: Mapping[str, Any], stage: Stage, items: Callable[[Stage], list[ItemRecord]]
) -> NextStage:
    if stage is Stage.CHECK:
        frames = tuple(str(1001 + frame) for frame in range(order["frames"]))
        return NextStage(stage=Stage.COMBINE, items=frames)
    if stage is Stage.COMBINE:
        return NextStage(stage=Stage.FINISH, items=(SINGLE_ITEM,))
    done = all(item.state is ItemState.DONE for item in items(Stage.COMBINE))
    return NextStage(stage=None, end=RunState.DONE if done else RunState.DONE_WITH_REMARKS)


def hang(*, holding: bool) -> None:
    """Hang in one call of C; `holding` the interpreter's lock, no thread of ours runs on."""
    library = ctypes.PyDLL(None) if holding else ctypes.CDLL(None)
    library.sleep(3600)


def work_in(folder: Path) -> Callable[..., dict[str, Any]]:
    def perform(
        order: Mapping[str, Any], claim: Claim, still_mine: Callable[[], Control]
    ) -> dict[str, Any]:
        name = f"{claim.run.replace('/', '_')}.{claim.stage}.{claim.item}"
        with (folder / "begun").open("a") as out:
            out.write(f"{name} {claim.token} {os.getpid()} {time.time():.3f}\n")
        if claim.item in order.get("poison", []):
            os.kill(os.getpid(), signal.SIGKILL)
        if claim.item in order.get("bad", []):
            raise SourceError("the picture is cut off", seen="12 bytes", expected="4096 bytes")
        if claim.item in order.get("hang", {}):
            hang(holding=order["hang"][claim.item])
        seconds = order["seconds"] if claim.stage is Stage.COMBINE else 0.02
        deadline = time.monotonic() + seconds
        while time.monotonic() < deadline:
            if "deaf" in order and claim.stage is Stage.COMBINE:  # one long call, no question
                time.sleep(max(0.0, deadline - time.monotonic()))
            time.sleep(0.02)
            still_mine()
        text = f"{name}\n".encode()
        part = folder / f"{name}.part{claim.token}"
        part.write_bytes(text)
        still_mine()
        part.replace(folder / f"{name}.out")
        return {"digest": sha256(text).hexdigest()}

    return perform


if __name__ == "__main__":
    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(levelname)s %(message)s")
    sys.stderr.write("worker for tests\n")
    place = Path(os.environ[FOLDER])
    run_worker(
        load_settings(os.environ), perform=work_in(place), plan=plan, orders=NamedOrders(place)
    )
