"""What wedges were asked for, by shot; and the orders of every run, versions and wedges alike."""

import json
from typing import Any

import redis

from glimsum_jobs.errors import StoreError
from glimsum_jobs.orders import Order, WedgeOrder, is_wedge, wedge_name
from glimsum_jobs.problems import Place
from glimsum_jobs.shot import ShotJob
from glimsum_services.store.connection import run_together
from glimsum_services.store.joined import Joined
from glimsum_services.store.keys import Keys
from glimsum_services.store.shots import Shots

MOST_KNOWN = 256


class Wedges:
    """Wedges of all shots.

    Every method raises StoreError when the server gives no answer.

    Parameters
    ----------
    client : redis.Redis
        From `glimsum_services.store.connection.connect`.
    keys : Keys, optional
        Names of the keys.
    patience_s : float
        How long one call is repeated while there is no answer.
    """

    def __init__(
        self, client: redis.Redis, keys: Keys | None = None, patience_s: float = 5.0
    ) -> None:
        self._client = client
        self._keys = keys or Keys()
        self._patience_s = patience_s
        self._known: dict[str, WedgeOrder] = {}

    def _ask(self, *calls: tuple[Any, ...]) -> list[Any]:
        return run_together(self._client, calls, self._patience_s)

    def keep(self, order: WedgeOrder) -> bool:
        """Keep a wedge; False, and nothing changes, when one of its number is there already.

        Its job is kept with that of the version it is made of.
        """
        facts = order.model_dump_json(by_alias=True, exclude={"job"})
        return bool(self._ask(("HSETNX", self._keys.wedges(order.shot), order.wedge, facts))[0])

    def numbers(self, shot: str) -> list[int]:
        """Return the numbers of the wedges of `shot`, rising."""
        return sorted(int(number) for number in self._ask(("HKEYS", self._keys.wedges(shot)))[0])

    def count(self, shot: str) -> int:
        """Return how many wedges of `shot` are kept."""
        return int(self._ask(("HLEN", self._keys.wedges(shot)))[0])

    def order(self, run: str) -> WedgeOrder:
        """Return the order of a wedge; raises StoreError if there is none."""
        found = self.find(run)
        if found is None:
            raise StoreError(
                f"no wedge {run} is kept",
                place=Place(shot=run.rpartition("/w")[0]),
                remedy="Ask for it again.",
            )
        return found

    def find(self, run: str) -> WedgeOrder | None:
        """Return the order of a wedge, or None if none is kept."""
        if run not in self._known:
            shot, _, number = run.rpartition("/w")
            kept = self._ask(("HGET", self._keys.wedges(shot), int(number)))[0]
            if kept is None:
                return None
            facts = json.loads(kept)
            job = json.loads(self._ask(("HGET", self._keys.jobs, facts["job_digest"]))[0])["job"]
            found = WedgeOrder(**facts, job=ShotJob.model_validate_json(json.dumps(job)))
            if len(self._known) > MOST_KNOWN:
                self._known.clear()
            self._known[run] = found
        return self._known[run]

    def forget(self, shot: str, wedge: int) -> None:
        """Forget a wedge that has ended, and where it stood."""
        run = wedge_name(shot, wedge)
        own = [key for key in self._keys.of_run(run) if key.endswith(f":{run}")]
        self._ask(("HDEL", self._keys.wedges(shot), wedge), ("DEL", *own))
        Joined(self._client, self._keys).forget(run)
        self._known.pop(run, None)


class RunOrders:
    """Where the order of any run is looked up; implements `glimsum_jobs.orders.Orders`.

    Parameters
    ----------
    shots : Shots
        Knows the versions.
    wedges : Wedges
        Knows the wedges.
    """

    def __init__(self, shots: Shots, wedges: Wedges) -> None:
        self._shots = shots
        self._wedges = wedges

    def order(self, run: str) -> Order:
        """Return the order of `run`; raises StoreError if there is none."""
        return self._wedges.order(run) if is_wedge(run) else self._shots.order(run)

    def find(self, run: str) -> Order | None:
        """Return the order of `run`, or None if none is kept."""
        return self._wedges.find(run) if is_wedge(run) else self._shots.find(run)
