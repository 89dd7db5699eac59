"""Names in a raw job that stand for nothing, found even where the job is wrong elsewhere."""

from collections.abc import Iterator, Mapping

from glimsum_jobs.findings import Findings
from glimsum_jobs.problems import Problem
from glimsum_jobs.schema_problems import Path, Positions


def check_names(tree: object, positions: Positions, shot: str | None) -> list[Problem]:
    """Find names in a raw job that stand for nothing; works on a job that is wrong elsewhere."""
    findings = Findings(positions, shot)
    if not isinstance(tree, Mapping) or not isinstance(tree.get("passes"), Mapping):
        return []
    known = {
        "pass": {str(name) for name in tree["passes"]},
        "matte": {str(name) for name in tree.get("mattes") or {}},
    }
    for kind, path, name in _references(tree):
        if isinstance(name, str) and name not in known[kind]:
            findings.add(
                path,
                f"there is no {kind} called {name}",
                seen=name,
                expected=" or ".join(sorted(known[kind])) or f"a {kind} of this job",
                remedy=f"Name a {kind} that the job has, or add it.",
            )
    return findings.problems


def _references(tree: Mapping[str, object]) -> Iterator[tuple[str, Path, object]]:
    for field in ("reference", "unit"):
        yield "pass", (field,), tree.get(field)
    for name, each in _entries(tree.get("passes")):
        for field in ("dark", "ambient"):
            yield "pass", ("passes", name, field), each.get(field)
    for name, each in _entries(tree.get("mattes")):
        yield from _in_matte(("mattes", name), each)
    for index, each in _entries(tree.get("recipe")):
        for field in ("pass", "less"):
            yield "pass", ("recipe", index, field), each.get(field)
        yield "matte", ("recipe", index, "matte"), each.get("matte")


def _in_matte(path: Path, matte: Mapping[str, object]) -> Iterator[tuple[str, Path, object]]:
    for field in ("pass", "empty", "luminance_of", "difference", "plate"):
        yield "pass", (*path, field), matte.get(field)
    for field in ("this", "without"):
        yield "matte", (*path, field), matte.get(field)
    for field in ("all_of", "any_of"):
        named = matte.get(field)
        for place, told in enumerate(named if isinstance(named, list) else ()):
            yield "matte", (*path, field, place), told


def _entries(part: object) -> Iterator[tuple[str | int, Mapping[str, object]]]:
    pairs: list[tuple[str | int, object]] = []
    if isinstance(part, Mapping):
        pairs = list(part.items())
    elif isinstance(part, list):
        pairs = list(enumerate(part))
    for key, each in pairs:
        if isinstance(each, Mapping):
            yield key, each
