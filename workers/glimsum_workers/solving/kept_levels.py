"""Levels solved once: a later version of a shot with the same samples has the same levels."""

import json
from collections.abc import Mapping, Sequence

import numpy as np

from glimsum_jobs.measurements import Averaged, Levels, Sampled
from glimsum_jobs.problems import Problem
from glimsum_jobs.shot import ShotJob
from glimsum_workers.footage.averages import Averages
from glimsum_workers.footage.digests import digest_of
from glimsum_workers.frames.kept import Keep
from glimsum_workers.solving.levels import solve_levels

LEVEL_EPOCH = 1
"""Raised whenever solving the same samples gives other levels or other remarks."""


def solve_levels_once(
    job: ShotJob,
    sampled: Sequence[Sampled],
    averaged: Mapping[str, Averaged],
    averages: Averages,
    keep: Keep,
) -> tuple[dict[str, Levels], list[Problem]]:
    """Return the levels of the steady passes, kept ones where they were solved before.

    Parameters
    ----------
    job : ShotJob
        The shot.
    sampled : sequence of Sampled
        Where the samples are kept.
    averaged : mapping of str to Averaged
        The averages by pass.
    averages : Averages
        The same, to read them.
    keep : Keep
        Holds samples, and what was solved from them.

    Returns
    -------
    levels : dict of pass to Levels
    remarks : list of Problem
    """
    if not sampled:
        return {}, []
    key = _key(job, sampled, averaged)
    kept = keep.get(key)
    if kept is not None:
        told = json.loads(str(kept["told"]))
        levels = {name: _levels(each) for name, each in told["levels"].items()}
        return levels, [Problem.model_validate(each) for each in told["remarks"]]
    levels, remarks = solve_levels(job, sampled, averages, keep)
    text = json.dumps(
        {
            "levels": {name: each.model_dump_json() for name, each in levels.items()},
            "remarks": [each.model_dump(mode="json") for each in remarks],
        }
    )
    keep.put(key, told=np.asarray(text))
    return levels, remarks


def _levels(text: str) -> Levels:
    return Levels.model_validate_json(text)


def _key(job: ShotJob, sampled: Sequence[Sampled], averaged: Mapping[str, Averaged]) -> str:
    """Return a digest of everything that changes what is solved and told."""
    exposure = job.passes[job.unit_pass].exposure
    names = sorted({each.pass_name for each in sampled})
    behind = [job.passes[name].ambient for name in names]
    names += sorted({name for name in behind if name is not None} - set(names))
    return digest_of(
        "levels",
        LEVEL_EPOCH,
        job.shot,
        job.space,
        job.camera,
        job.frames.model_dump(),
        None if exposure is None else exposure.model_dump(mode="json"),
        {name: job.passes[name].model_dump(mode="json", exclude={"align"}) for name in names},
        sorted([each.pass_name, each.frame, each.key] for each in sampled),
        {name: each.key for name, each in averaged.items()},
    )
