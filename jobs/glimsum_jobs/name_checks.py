"""Names in a raw job that stand for nothing, found even where the job is wrong elsewhere."""

from collections.abc import Iterator, Mapping

from glimsum_jobs.findings import Findings
from glimsum_jobs.problems import Problem
from glimsum_jobs.schema_problems import Path, Positions

_PARTS = {"pass": "passes", "matte": "mattes", "insert": "inserts", "element": "elements"}
"""Kinds of named things, and the part of a job that holds them."""


def check_names(tree: object, positions: Positions, shot: str | None) -> list[Problem]:
    """Find names in a raw job that stand for nothing; works on a job that is wrong elsewhere."""
    findings = Findings(positions, shot)
    if not isinstance(tree, Mapping) or not isinstance(tree.get("passes"), Mapping):
        return []
    known = {kind: _names(tree.get(part)) for kind, part in _PARTS.items()}
    known["pass or take"] = known["pass"] | _names(tree.get("takes"))
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
    for name, each in _entries(tree.get("takes")):
        yield from _listed("pass", ("takes", name, "of"), each.get("of"))
    for part in ("inserts", "elements"):
        for name, each in _entries(tree.get(part)):
            yield "matte", (part, name, "holdout"), each.get("holdout")
    yield from _in_recipe(tree)


def _in_recipe(tree: Mapping[str, object]) -> Iterator[tuple[str, Path, object]]:
    for index, each in _entries(tree.get("recipe")):
        for field in ("pass", "less"):
            yield "pass or take", ("recipe", index, field), each.get(field)
        for field in ("matte", "insert", "element"):
            yield field, ("recipe", index, field), each.get(field)


def _in_matte(path: Path, matte: Mapping[str, object]) -> Iterator[tuple[str, Path, object]]:
    for field in ("pass", "empty", "luminance_of", "difference", "plate"):
        yield "pass", (*path, field), matte.get(field)
    for field in ("this", "without"):
        yield "matte", (*path, field), matte.get(field)
    for field in ("all_of", "any_of"):
        yield from _listed("matte", (*path, field), matte.get(field))


def _listed(kind: str, path: Path, names: object) -> Iterator[tuple[str, Path, object]]:
    for place, told in enumerate(names if isinstance(names, list) else ()):
        yield kind, (*path, place), told


def _names(part: object) -> set[str]:
    return {str(name) for name in part} if isinstance(part, Mapping) else set()


def _entries(part: object) -> Iterator[tuple[str | int, Mapping[str, object]]]:
    pairs: list[tuple[str | int, object]] = []
    if isinstance(part, Mapping):
        pairs = list(part.items())
    elif isinstance(part, list):
        pairs = list(enumerate(part))
    for key, each in pairs:
        if isinstance(each, Mapping):
            yield key, each
