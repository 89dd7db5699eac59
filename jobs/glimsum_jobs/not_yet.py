"""What the format has words for and this release does not do yet: refused, never ignored."""

from collections.abc import Iterator
from typing import Any

Path = tuple[str | int, ...]

FIELDS: dict[tuple[str, ...], str] = {
    ("picture", "width"): "masters of another size than the passes",
    ("picture", "height"): "masters of another size than the passes",
    ("passes", "*", "first_timecode"): "finding the first frame by timecode; state first",
    ("passes", "*", "brackets"): "brackets of clipped lamps",
    ("passes", "*", "clip"): "keeping clipped lamps white",
    ("passes", "*", "flat"): "flat fields",
    (
        "passes",
        "*",
        "white_balance",
        "kelvin",
    ): "white balance by colour temperature; state gains",
}
"""Fields, * for any name or number, and what they will do."""

VALUES: dict[tuple[str, ...], dict[Any, str]] = {
    ("passes", "*", "use"): {"flat": "flat fields"},
    ("passes", "*", "exposure"): {"metadata": "exposure from metadata; state the numbers"},
    ("masters", "*", "format"): dict.fromkeys(("dpx", "tiff", "png"), "masters other than exr"),
    ("viewing", "movie"): {"prores": "viewing movies other than h264"},
}
"""Values of fields that are otherwise complete."""


def find_not_yet(tree: object) -> Iterator[tuple[Path, object, str]]:
    """Yield place, value and words for everything in a raw job that is not done yet."""
    yield from _walk(tree, (), ())
    if isinstance(tree, dict) and isinstance(tree.get("passes"), dict):
        for name, each in tree["passes"].items():
            if isinstance(each, dict) and isinstance(each.get("files"), list):
                yield (
                    ("passes", name, "files"),
                    each["files"],
                    "a pass in pieces; join its files",
                )
    if isinstance(tree, dict) and isinstance(tree.get("masters"), list):
        for index in range(1, len(tree["masters"])):
            yield ("masters", index), tree["masters"][index], "more than one kind of master"


def _walk(tree: object, path: Path, pattern: tuple[str, ...]) -> Iterator[tuple[Path, object, str]]:
    if pattern in FIELDS:
        yield path, tree, FIELDS[pattern]
        return
    if pattern in VALUES and isinstance(tree, str) and tree in VALUES[pattern]:
        yield path, tree, VALUES[pattern][tree]
        return
    entries: list[tuple[str | int, object]] = []
    if isinstance(tree, dict):
        entries = list(tree.items())
    elif isinstance(tree, list):
        entries = list(enumerate(tree))
    for key, value in entries:
        for step in (str(key), "*"):
            longer = (*pattern, step)
            if any(known[: len(longer)] == longer for known in (*FIELDS, *VALUES)):
                yield from _walk(value, (*path, key), longer)
                break
