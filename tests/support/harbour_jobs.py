"""Jobs for the harbour shots, made from the examples and changed by keyword."""

import copy
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from glimsum_jobs.reading import read_shot
from glimsum_jobs.shot import ShotJob
from glimsum_services.job_text.yaml_tree import read_yaml
from support.harbour import PROJECT, HarbourShot

PLATES, OUT = "harbour", "out"
FAST_VIEWING = {"movie": "none", "width": 64}
"""The proofs look at masters; previews are small here and the movie is left out."""


def raw_harbour_job(shot: HarbourShot, **changes: Any) -> dict[str, Any]:
    """Return the example job of a shot as a tree, over the frames that `shot` has, unaligned.

    Parameters
    ----------
    shot : HarbourShot
        Shipped or full; its passes are the root ``harbour``, masters go to the root ``out``.
    **changes
        Merged into the tree: mappings field by field, None takes a field out, anything else
        replaces.
    """
    text = (PROJECT / "jobs" / "examples" / f"harbour_{shot.name}.yaml").read_text("utf-8")
    tree, _ = read_yaml(text)
    assert isinstance(tree, dict)
    for each in tree["passes"].values():
        each["files"] = f"{PLATES}:{each['files'].removeprefix(shot.name + '/')}"
        each["align"] = "none"
    first = tree["frames"]["first"]
    tree["frames"]["last"] = first + len(shot.frames) - 1
    tree["output"] = f"{OUT}:{tree['shot']}"
    tree["viewing"] = dict(FAST_VIEWING)
    return merged(tree, changes)


def harbour_job(shot: HarbourShot, **changes: Any) -> ShotJob:
    """Return the job of `raw_harbour_job`, read as any job is."""
    job, _ = read_shot(raw_harbour_job(shot, **changes))
    return job


def harbour_roots(shot: HarbourShot, out: Path) -> dict[str, Path]:
    """Return the roots of a harbour job."""
    return {PLATES: shot.passes, OUT: out}


def job_frame(job: ShotJob, shot_frame: int) -> int:
    """Return the job's number of a shot frame counted from 0."""
    return job.frames.first + shot_frame


def merged(tree: Mapping[str, Any], changes: Mapping[str, Any]) -> dict[str, Any]:
    """Return `tree` with `changes` merged in; None takes a field out."""
    result = copy.deepcopy(dict(tree))
    for name, value in changes.items():
        if value is None:
            result.pop(name, None)
        elif isinstance(value, Mapping) and isinstance(result.get(name), Mapping):
            result[name] = merged(result[name], value)
        else:
            result[name] = copy.deepcopy(value)
    return result
