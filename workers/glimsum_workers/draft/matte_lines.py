"""Mattes of a starter job: a section for every silhouette, ready to be uncommented."""

from collections.abc import Sequence

from glimsum_workers.draft.job_lines import JobLines
from glimsum_workers.draft.measuring import BACKING_PERCENTILE, BOX_PX, Backing
from glimsum_workers.draft.pass_lines import DraftPass

HIGHEST_LEVEL = 1.0
"""Above this a job can't state the level of a backing."""


def write_mattes(text: JobLines, passes: Sequence[DraftPass]) -> None:
    """Write a commented ``mattes`` section for the silhouettes among the passes, if there are any.

    Parameters
    ----------
    text : JobLines
        The lines so far; the section stands at the outermost depth.
    passes : sequence of DraftPass
        All of the shot. A pass of the backing alone stands for its level where there is one.
    """
    silhouettes = [each for each in passes if each.use == "matte"]
    if not silhouettes:
        return
    alone = next((each.name for each in passes if each.use == "empty_backing"), None)
    names = ", ".join(each.name for each in silhouettes)
    text.ask(
        "mattes",
        f"shall {names} cut out the set? then take the # from the lines below, and name the "
        "matte in a step: {pass: ..., matte: set}",
    )
    text.add("# mattes:")
    for count, each in enumerate(silhouettes, start=1):
        name = "set" if count == 1 else f"set_{count}"
        for line in _empty_told(each, alone):
            text.add(f"#   # {line}")
        empty = alone or _level(each.backing)
        text.add(f"#   {name}: {{pass: {each.name}, empty: {empty}}}")


def _empty_told(each: DraftPass, alone: str | None) -> list[str]:
    if alone is not None:
        return [f"{alone} is the lit backing without the set"]
    seen = each.backing
    if seen is None:
        return [
            f"its backing can't be measured before the coding of {each.name} is known: film the",
            "backing alone as a pass (use: empty_backing) and name it, or state {level: [r, g, b]}",
        ]
    lines = [
        "level of its backing, red, green, blue, linear as recorded, dark still in, measured as",
        f"the {BACKING_PERCENTILE}th percentile of {BOX_PX} x {BOX_PX} pixel means, median of "
        f"{seen.pictures} pictures, {_coding(each, seen)}",
    ]
    if max(seen.level) > HIGHEST_LEVEL:
        words = ", ".join(f"{value:.4g}" for value in seen.level)
        lines.append(f"it is [{words}], above 1: film the backing alone (use: empty_backing)")
    return lines


def _coding(each: DraftPass, seen: Backing) -> str:
    return "read as linear" if each.piece.kind == "exr" else f"read as {seen.coding}"


def _level(seen: Backing | None) -> str:
    if seen is None or max(seen.level) > HIGHEST_LEVEL:
        return '"?"'
    return f"{{level: [{', '.join(f'{value:.4g}' for value in seen.level)}]}}"
