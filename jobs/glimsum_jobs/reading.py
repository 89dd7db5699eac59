"""From a raw tree (YAML or JSON, already parsed) to a shot job, or to all its problems at once."""

from collections.abc import Mapping
from typing import Any

from pydantic import ValidationError

from glimsum_jobs.checks import check_job
from glimsum_jobs.errors import JobError
from glimsum_jobs.name_checks import check_names
from glimsum_jobs.not_yet import find_not_yet
from glimsum_jobs.problems import Problem, Rank
from glimsum_jobs.schema_problems import Positions, place_of, schema_problems, show
from glimsum_jobs.shot import ShotJob


def read_shot(tree: object, positions: Positions | None = None) -> tuple[ShotJob, list[Problem]]:
    """Read one shot job.

    Parameters
    ----------
    tree : object
        What the file holds: mappings, lists, text, numbers.
    positions : mapping of path to (line, column), optional
        Where each value stands in the file, counted from 1.

    Returns
    -------
    job : ShotJob
        The job, with every default filled in.
    remarks : list of Problem
        What is worth knowing and stops nothing.

    Raises
    ------
    JobError
        With every problem found, in the order of the file.
    """
    where: Positions = positions or {}
    shot = tree.get("shot") if isinstance(tree, Mapping) else None
    shot = shot if isinstance(shot, str) else None
    found = list(find_not_yet(tree))
    problems = [
        Problem(
            rank=Rank.STOPS_SHOT,
            what=f"not yet: {words}",
            place=place_of(path, where, shot),
            seen=show(value),
            expected="a job without it",
            remedy="Leave it out for now; ignoring it would make another picture.",
        )
        for path, value, words in found
    ]
    covered = [path for path, _, _ in found]
    unknown = [p for p in check_names(tree, where, shot) if not _within(p, covered)]
    problems += unknown
    job: ShotJob | None = None
    try:
        job = ShotJob.model_validate(tree)
    except ValidationError as error:
        schema = schema_problems(error, ShotJob, tree, where, shot)
        problems += [problem for problem in schema if not _within(problem, covered)]
    remarks: list[Problem] = []
    if job is not None and not unknown:
        for problem in check_job(job, where):
            (remarks if problem.rank is Rank.REMARK else problems).append(problem)
    if problems or job is None:
        problems.sort(key=lambda problem: (problem.place.line or 0, problem.place.column or 0))
        raise JobError(f"the job of shot {shot or '(no name)'} can't be used", problems)
    return job, remarks


def _within(problem: Problem, covered: list[tuple[str | int, ...]]) -> bool:
    field = problem.place.field or ""
    prefixes = [".".join(str(part) for part in path) for path in covered]
    return any(field == prefix or field.startswith(prefix + ".") for prefix in prefixes)


def shot_schema() -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of a shot job as people write it."""
    schema = ShotJob.model_json_schema(by_alias=True)
    for part in schema["properties"].values():
        if "patternProperties" in part:
            part["additionalProperties"] = False
    # In a job file a step may name its cue sheet; what is submitted holds the cues themselves.
    schema["$defs"]["Step"]["properties"]["cues"]["anyOf"].append(
        {"type": "string", "pattern": r"\.csv$", "maxLength": 1024}
    )
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}
