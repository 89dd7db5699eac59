"""What is wanted of a run, on the disk beside its job: it is not lost with the ledger."""

import json
import logging
import threading
import time
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from glimsum_jobs.errors import GlimsumError
from glimsum_jobs.ledger import STAGES, Control, Hours, Stage
from glimsum_jobs.orders import Order, Orders
from glimsum_jobs.paths import parse_root_path
from glimsum_jobs.restored import Wishes
from glimsum_services.folders import open_file, write_whole
from glimsum_services.store.ledger import RedisLedger

WISHES_FILE = "wishes.json"
"""Name of the file in its version folder; it is there once somebody wished something."""

log = logging.getLogger(__name__)


def read_wishes(roots: Mapping[str, Path], order: Order) -> Wishes | None:
    """Return what is kept of what is wanted of a run; None where nothing is, or nothing whole."""
    try:
        with open_file(roots, parse_root_path(order.folder), WISHES_FILE) as file:
            return Wishes.model_validate(json.loads(file.read()))
    except (GlimsumError, OSError, ValueError):
        return None


def write_wishes(roots: Mapping[str, Path], order: Order, wishes: Wishes) -> None:
    """Keep what is wanted of a run, whole or not at all.

    Raises
    ------
    OutputError
        The disk is full or fails, or the folder is not there.
    """
    path = parse_root_path(order.folder)
    folder = roots[path.root] / path.path
    write_whole(folder, WISHES_FILE, wishes.model_dump_json(indent=1).encode())


class WishingLedger(RedisLedger):
    """The ledger, for those through whom people speak: their wishes go to the disk first.

    Parameters
    ----------
    *given : object
        As for `RedisLedger`.
    orders : Orders
        Where the folders of runs are looked up.
    roots : mapping of str to Path
        The roots of this machine.
    **named : object
        As for `RedisLedger`.
    """

    def __init__(
        self, *given: Any, orders: Orders, roots: Mapping[str, Path], **named: Any
    ) -> None:
        super().__init__(*given, **named)
        self._orders = orders
        self._roots = roots
        self.one_at_a_time = threading.RLock()
        """Held from looking at what is wanted until it is changed."""

    def open(self, run: str, *, priority: int = 50, stage: Stage = STAGES[0]) -> None:
        """Open `run`; an urgency other than the usual one is kept on the disk."""
        if priority != Wishes().priority:
            order = self._orders.order(run)
            if read_wishes(self._roots, order) is None:
                self._keep(order, Wishes(priority=priority, at=time.time()))
        super().open(run, priority=priority, stage=stage)

    def control(
        self,
        run: str,
        control: Control | None = None,
        priority: int | None = None,
        hours: Hours | None = None,
    ) -> bool:
        """Say what is wanted of `run`; False when it has ended, and nothing changes."""
        order = self._orders.order(run)
        said = {"control": control, "priority": priority, "hours": hours, "at": time.time()}
        told = {name: value for name, value in said.items() if value is not None}
        with self.one_at_a_time:
            before = read_wishes(self._roots, order) or Wishes()
            self._keep(order, before.model_copy(update=told))
            heard = super().control(run, control, priority, hours)
            if not heard:
                self._keep(order, before)
        return heard

    def _keep(self, order: Order, wishes: Wishes) -> None:
        """Write it down; a wish is heard even where it can't be: the disk may be full, or away."""
        try:
            write_wishes(self._roots, order, wishes)
        except (GlimsumError, OSError, KeyError) as error:
            log.warning("%s: what is wanted is not kept on the disk: %s", order.run, error)
