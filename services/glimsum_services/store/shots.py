"""What was submitted: jobs by their digest, shots and their versions, sequences."""

import json
from collections.abc import Sequence
from typing import Any

import redis
from pydantic import BaseModel, ConfigDict

from glimsum_jobs.errors import StoreError
from glimsum_jobs.frame_ranges import FrameRange
from glimsum_jobs.orders import RunOrder, run_name
from glimsum_jobs.problems import Place
from glimsum_jobs.shot import ShotJob
from glimsum_services.store.connection import run_together
from glimsum_services.store.keys import Keys

MOST_LISTED = 500
"""Longest page of a list."""


class Page(BaseModel):
    """Part of a list."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    names: tuple[str, ...]
    after: str | None
    """Give this to get the next page; None at the end."""


class Shots:
    """Jobs, shots, versions and sequences; implements `glimsum_jobs.orders.Orders`.

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
        self._known: dict[str, RunOrder] = {}

    def _ask(self, *calls: tuple[Any, ...]) -> list[Any]:
        return run_together(self._client, calls, self._patience_s)

    def keep(self, order: RunOrder, text: str) -> bool:
        """Keep a version of a shot and the text its job was written in.

        Parameters
        ----------
        order : RunOrder
            The version; the same order may be kept again.
        text : str
            What the person wrote, YAML or JSON, unchanged.

        Returns
        -------
        bool
            False when the version is there already; what is kept is not changed then.
        """
        facts = order.model_dump(mode="json", by_alias=True, exclude={"job"})
        job = {"text": text, "job": order.job.model_dump(mode="json", by_alias=True)}
        versions = self._keys.versions(order.shot)
        now = self._ask(("TIME",))[0]
        answers = self._ask(
            ("HSETNX", self._keys.jobs, order.job_digest, json.dumps(job)),
            ("ZADD", self._keys.shots, "NX", int(now[0]) * 1_000_000 + int(now[1]), order.shot),
            ("HSETNX", versions, order.version, json.dumps(facts)),
        )
        return bool(answers[2])

    def job_text(self, digest: str) -> str | None:
        """Return the job as it was written, or None if no job has this digest."""
        kept = self._ask(("HGET", self._keys.jobs, digest))[0]
        return None if kept is None else str(json.loads(kept)["text"])

    def order(self, run: str) -> RunOrder:
        """Return the order of `run`; raises StoreError if there is none."""
        found = self.find(run)
        if found is None:
            raise StoreError(
                f"no order is kept for {run}",
                place=Place(shot=run.rpartition("/v")[0] or run),
                remedy="Submit the job again, or rebuild the ledger from the version folders.",
            )
        return found

    def find(self, run: str) -> RunOrder | None:
        """Return the order of `run`, or None if none is kept."""
        if run not in self._known:
            shot, _, version = run.rpartition("/v")
            kept = None
            if version.isdecimal():
                kept = self._ask(("HGET", self._keys.versions(shot), int(version)))[0]
            if kept is None:
                return None
            facts = json.loads(kept)
            job = json.loads(self._ask(("HGET", self._keys.jobs, facts["job_digest"]))[0])["job"]
            found = RunOrder(**facts, job=ShotJob.model_validate_json(json.dumps(job)))
            if len(self._known) > 256:  # orders never change, so few are kept and none goes stale
                self._known.clear()
            self._known[run] = found
        return self._known[run]

    def versions(self, shot: str) -> list[int]:
        """Return the numbers of the versions of `shot`, rising; empty if it is unknown."""
        return sorted(int(number) for number in self._ask(("HKEYS", self._keys.versions(shot)))[0])

    def find_version(
        self, shot: str, digest: str, only: FrameRange | None = None
    ) -> RunOrder | None:
        """Return the newest version of `shot` that was made from the job with `digest`.

        A version of single frames is found where the same frames are asked for.
        """
        frames = None if only is None else only.model_dump()
        found = self._ask(("HVALS", self._keys.versions(shot)))[0]
        same = [
            facts
            for facts in map(json.loads, found)
            if facts["job_digest"] == digest and facts.get("only") == frames
        ]
        if not same:
            return None
        return self.order(run_name(shot, max(int(facts["version"]) for facts in same)))

    def list_shots(self, after: str | None = None, limit: int = 100) -> Page:
        """Return shots, newest first.

        Parameters
        ----------
        after : str, optional
            `Page.after` of the page before.
        limit : int
            At most this many, 1 to `MOST_LISTED`.
        """
        return self._page(self._keys.shots, after, limit)

    def keep_sequence(self, name: str, runs: Sequence[str]) -> None:
        """Keep which runs make up the sequence `name`; an earlier list is replaced."""
        key = self._keys.sequence(name)
        now = self._ask(("TIME",))[0]
        self._ask(
            ("DEL", key),
            *([("RPUSH", key, *runs)] if runs else []),
            ("ZADD", self._keys.sequences, "NX", int(now[0]) * 1_000_000 + int(now[1]), name),
        )

    def sequence(self, name: str) -> list[str] | None:
        """Return the runs of a sequence in their order, or None if it is unknown."""
        known, runs = self._ask(
            ("ZSCORE", self._keys.sequences, name), ("LRANGE", self._keys.sequence(name), 0, -1)
        )
        return None if known is None else [str(run) for run in runs]

    def list_sequences(self, after: str | None = None, limit: int = 100) -> Page:
        """Return sequences, newest first; `after` and `limit` as in `list_shots`."""
        return self._page(self._keys.sequences, after, limit)

    def _page(self, key: str, after: str | None, limit: int) -> Page:
        limit = min(max(limit, 1), MOST_LISTED)
        start = 0
        if after is not None:
            place = self._ask(("ZREVRANK", key, after))[0]
            start = 0 if place is None else int(place) + 1
        names = [str(name) for name in self._ask(("ZREVRANGE", key, start, start + limit))[0]]
        more = len(names) > limit
        return Page(names=tuple(names[:limit]), after=names[limit - 1] if more else None)
