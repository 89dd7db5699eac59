"""From a job to a version the workers can take: on disk first, then in the ledger."""

import hashlib
import json
import threading
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ConfigDict

from glimsum_jobs.errors import GlimsumError, JobError
from glimsum_jobs.frame_ranges import FrameRange
from glimsum_jobs.ledger import Ledger, RunState
from glimsum_jobs.orders import RunOrder, run_name
from glimsum_jobs.paths import parse_root_path
from glimsum_jobs.problems import Place, Problem, Rank
from glimsum_jobs.reading import read_shot
from glimsum_jobs.shot import ShotJob
from glimsum_services.folders import make_version_folder, write_whole
from glimsum_services.job_file import Asked
from glimsum_services.rooted import check_rooted
from glimsum_services.store.shots import Shots

JOB_FILE = "job.json"
"""Name of the order in its version folder; the ledger can be made again from it."""
TEXT_FILE = "job_as_written.txt"
"""Name of the job as the person wrote it, beside the order."""


class Wanted(BaseModel):
    """How a version is to be made, besides its job."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    earlier: int | None = None
    """The version whose job was changed."""
    changes: tuple[str, ...] = ()
    reuse: bool = True
    only: FrameRange | None = None
    again: bool = False
    """A new version even where this job was submitted before: its files may have changed."""


PLAINLY = Wanted()


class Submitted(BaseModel):
    """What became of one job."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    order: RunOrder
    new: bool
    """False: this job was submitted before, and its version stands."""


def digest_job(job: ShotJob) -> str:
    """Return the SHA-256 of a job's canonical JSON, hexadecimal.

    Canonical: keys sorted, no spaces, unset optional fields left out; how the file was written
    and in which order plays no part.
    """
    tree = job.model_dump(mode="json", by_alias=True, exclude_none=True)
    text = json.dumps(tree, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()


class Submissions:
    """Takes jobs in.

    Parameters
    ----------
    shots : Shots
        Where orders are kept.
    ledger : Ledger
        Where runs are opened.
    roots : mapping of str to Path
        The roots of this machine; version folders are made here.
    """

    def __init__(self, shots: Shots, ledger: Ledger, roots: Mapping[str, Path]) -> None:
        self._shots = shots
        self._ledger = ledger
        self._roots = roots
        self._one_at_a_time = threading.Lock()

    def submit(
        self, asked: Asked, *, priority: int = 50, wanted: Wanted = PLAINLY
    ) -> list[Submitted]:
        """Take in everything a file or a request asks for; nothing is made if a job is wrong.

        Returns
        -------
        list of Submitted
            In the order of the jobs. A job that was submitted before is its old version, unless
            that one was refused or cancelled: what was wrong may have been put right.

        Raises
        ------
        JobError
            A path is not ``root:path``, an output root is unknown here, or a shot stands twice.
        OutputError
            A version folder can't be made; shots before it are submitted.
        StoreError
            The ledger gives no answer; submit again, nothing is made twice.
        """
        self._check(asked)
        submitted = [
            self.submit_job(job, text, sequence=asked.sequence, priority=priority, wanted=wanted)
            for job, text in zip(asked.jobs, asked.texts, strict=True)
        ]
        if asked.sequence is not None:
            self._shots.keep_sequence(asked.sequence, [each.order.run for each in submitted])
        return submitted

    def submit_job(
        self,
        job: ShotJob,
        text: str,
        *,
        sequence: str | None = None,
        priority: int = 50,
        wanted: Wanted = PLAINLY,
    ) -> Submitted:
        """Take in one job whose paths are all ``root:path``; raises as `submit`."""
        digest = digest_job(job)
        with self._one_at_a_time:
            known = self._standing(job, digest, wanted)
            order = known or self._make(job, digest, text, sequence, wanted)
            # Asked again for a known order too: the last try may have ended before this line.
            self._ledger.open(order.run, priority=priority)
        return Submitted(order=order, new=known is None)

    def _standing(self, job: ShotJob, digest: str, wanted: Wanted) -> RunOrder | None:
        """Return the version that stands for this job; none where that one came to nothing."""
        if wanted.again or not wanted.reuse:
            return None
        known = self._shots.find_version(job.shot, digest, wanted.only)
        record = None if known is None else self._ledger.record(known.run)
        if record is not None and record.state in (RunState.REFUSED, RunState.CANCELLED):
            return None
        return known

    def _make(
        self, job: ShotJob, digest: str, text: str, sequence: str | None, wanted: Wanted
    ) -> RunOrder:
        while True:
            last = max(self._shots.versions(job.shot), default=0)
            version, folder, here = make_version_folder(
                self._roots, parse_root_path(job.output), last
            )
            order = RunOrder(
                run=run_name(job.shot, version),
                shot=job.shot,
                version=version,
                job=job,
                job_digest=digest,
                folder=str(folder),
                made=datetime.now(UTC).isoformat(timespec="seconds").replace("+00:00", "Z"),
                sequence=sequence,
                earlier=wanted.earlier,
                changes=wanted.changes,
                reuse=wanted.reuse,
                only=wanted.only,
            )
            write_whole(here, TEXT_FILE, text.encode())
            write_whole(here, JOB_FILE, order.model_dump_json(by_alias=True, indent=1).encode())
            if self._shots.keep(order, text):
                return order

    def _check(self, asked: Asked) -> None:
        problems: list[Problem] = []
        for job in asked.jobs:
            try:
                check_rooted(job)
            except JobError as error:
                problems += error.problems
                continue
            root = parse_root_path(job.output).root
            if root not in self._roots:
                problems.append(self._no_root(job, root))
        names = [job.shot for job in asked.jobs]
        problems += [
            Problem(
                rank=Rank.STOPS_SHOT,
                what="a shot stands twice",
                place=Place(shot=name),
                seen=f"{names.count(name)} jobs",
                expected="one job a shot",
                remedy="Submit the second one afterwards: it becomes the next version.",
            )
            for name in dict.fromkeys(names)
            if names.count(name) > 1
        ]
        if problems:
            raise JobError("nothing was submitted", problems)

    def _no_root(self, job: ShotJob, root: str) -> Problem:
        return Problem(
            rank=Rank.STOPS_SHOT,
            what="the output's root is not known to the service",
            place=Place(shot=job.shot, field="output", file=job.output),
            seen=root,
            expected=f"one of: {', '.join(sorted(self._roots)) or 'none is set'}",
            remedy="Start with `glimsum up --root NAME=FOLDER`, or set GLIMSUM_ROOTS.",
        )


def change_job(job: ShotJob, changes: Mapping[str, Any]) -> tuple[ShotJob, list[Problem]]:
    """Return a job with changes made to it.

    Parameters
    ----------
    job : ShotJob
        The job of an earlier version.
    changes : mapping
        A JSON Merge Patch (RFC 7396): what it states replaces, null takes out, lists are
        replaced whole.

    Returns
    -------
    job : ShotJob
    remarks : list of Problem

    Raises
    ------
    JobError
        The changed job can't be used, or it is the job of another shot.
    """
    tree = merge_patch(job.model_dump(mode="json", by_alias=True, exclude_none=True), changes)
    changed, remarks = read_shot(tree)
    if changed.shot != job.shot:
        error = GlimsumError(
            "a new version can't rename its shot",
            place=Place(shot=job.shot, field="shot"),
            seen=changed.shot,
            expected=job.shot,
            remedy="Submit it as a shot of its own.",
        )
        raise JobError("the changes can't be made", [error.problem()])
    return changed, remarks


def merge_patch(target: object, patch: object) -> object:
    """Return `target` changed by a JSON Merge Patch, as RFC 7396 section 2 states it."""
    if not isinstance(patch, Mapping):
        return patch
    merged = dict(target) if isinstance(target, Mapping) else {}
    for name, value in patch.items():
        if value is None:
            merged.pop(name, None)
        else:
            merged[name] = merge_patch(merged.get(name), value)
    return merged
