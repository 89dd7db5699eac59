"""`glimsum compare`: two versions of a shot, earlier and later, frame by frame."""

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from glimsum_jobs.errors import SourceError
from glimsum_jobs.problems import Place
from glimsum_services.cli.exit_codes import Ending
from glimsum_services.cli.options import (
    DEFAULT_SERVICE,
    AsJson,
    RootPairs,
    Service,
    WrongUse,
    read_roots,
)
from glimsum_services.cli.reaching import reach, read_settings
from glimsum_services.cli.step_options import read_frames
from glimsum_services.cli.tables import table_lines
from glimsum_services.cli.telling import say, say_json
from glimsum_services.service_errors import ServiceAway

if TYPE_CHECKING:
    from glimsum_jobs.frame_ranges import FrameRange
    from glimsum_services.workshop.comparing import Finished, FramePair

HEADING = ("frame", "is", "mean", "largest", "stops", "most stops", "pixels changed")
Version = Annotated[str, typer.Argument(metavar="VERSION", help="v001, or 1.")]


def compare(
    shot: Annotated[str, typer.Argument(metavar="SHOT", help="Name of the shot.")],
    earlier: Version,
    later: Version,
    *,
    frames: Annotated[
        str | None, typer.Option("--frames", metavar="FIRST-LAST", help="These frames only.")
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", metavar="FOLDER", help="Write a pair sheet here: earlier, later, difference."
        ),
    ] = None,
    root: RootPairs = None,
    service: Service = DEFAULT_SERVICE,
    as_json: AsJson = False,
) -> Ending:
    """Compare two versions of a shot in linear light; needs their folders, no service."""
    from glimsum_services.workshop.comparing import (  # noqa: PLC0415  # loads the engine
        compare_frames,
        write_pair_sheet,
    )

    numbers = [_number(text) for text in (earlier, later)]
    only = read_frames(frames)
    versions = _find(shot, numbers, _roots(service, root))
    one, other = (versions[number] for number in numbers)
    _same_space(one, other)
    pairs = list(compare_frames(one, other, _frames(one, other, only)))
    sheet = None if out is None else write_pair_sheet(one, other, pairs, out)
    if as_json:
        say_json(_as_json(one, other, pairs, None if sheet is None else f"{out}/{sheet}"))
    else:
        for line in _words(one, other, pairs):
            say(line)
        if out is not None:
            say(f"pair sheet: {out / sheet}" if sheet else "no frame differs: no pair sheet")
    return Ending.DONE if all(each.known for each in pairs) else Ending.REFUSED


def _number(text: str) -> int:
    digits = text.removeprefix("v")
    if not digits.isdecimal() or not 1 <= int(digits) <= 9999:
        raise WrongUse(
            "this is no version",
            place=Place(field="VERSION"),
            seen=text,
            expected="v001, or 1",
            remedy="Write for example: glimsum compare mole_040 v001 v002",
        )
    return int(digits)


def _roots(service: str, pairs: list[str] | None) -> dict[str, Path]:
    """Return the roots of the service where one answers, then of this machine, then those given."""
    here = read_settings().roots
    found: dict[str, Path] = {}
    try:
        with reach(service) as client:
            found = client.roots()
    except ServiceAway:
        found = {} if here or pairs else {"here": Path.cwd()}
    return {**found, **here, **read_roots(pairs)}


def _find(shot: str, numbers: list[int], roots: Mapping[str, Path]) -> dict[int, "Finished"]:
    """Return the versions by number, from their folders below the roots."""
    from glimsum_jobs.ledger import Stage  # noqa: PLC0415  # not needed by `--help`
    from glimsum_jobs.left_behind import newest_standing  # noqa: PLC0415  # the same
    from glimsum_services.version_disk import (  # noqa: PLC0415  # the same
        MASTERS,
        find_versions,
        read_lines,
        read_order,
    )
    from glimsum_services.workshop.comparing import Finished  # noqa: PLC0415  # loads the engine

    wanted, found, known = {f"v{n:03d}" for n in numbers}, {}, set[str]()
    for folder in find_versions({name: path for name, path in roots.items() if path.is_dir()}):
        if folder.name not in wanted:
            continue
        try:
            order = read_order(roots, folder)
        except SourceError:
            continue
        if order.shot == shot:
            known.add(order.run)
        if order.shot == shot and order.version in numbers:
            frames = newest_standing(read_lines(roots, order).lines)[Stage.COMBINE]
            found[order.version] = Finished(
                order,
                roots[folder.root] / folder.path / MASTERS,
                {int(item): line.result for item, line in frames.items()},
            )
    for number in numbers:
        if number not in found:
            places = ", ".join(f"{name}={path}" for name, path in sorted(roots.items()))
            raise SourceError(
                f"shot {shot} has no version {number} here",
                place=Place(shot=shot, file=f"v{number:03d}"),
                seen=f"of those asked for: {', '.join(sorted(known)) or 'none'}",
                expected=f"its folder below a root: {places or 'none is set'}",
                remedy="Check name and number; name the root with --root NAME=FOLDER.",
            )
    return found


def _same_space(one: "Finished", other: "Finished") -> None:
    spaces = one.order.job.space, other.order.job.space
    if spaces[0] != spaces[1]:
        raise SourceError(
            "the versions are in different working spaces",
            place=Place(shot=one.order.shot, field="space"),
            seen=spaces[1],
            expected=f"{spaces[0]}, as in {one.label}",
            remedy="Compare versions of one working space: their numbers mean the same light.",
        )


def _frames(one: "Finished", other: "Finished", only: "FrameRange | None") -> list[int]:
    frames = sorted(one.frames.keys() | other.frames.keys())
    return frames if only is None else [frame for frame in frames if frame in only.numbers]


def _as_json(
    one: "Finished", other: "Finished", pairs: list["FramePair"], sheet: str | None
) -> dict[str, Any]:
    from glimsum_jobs.job_changes import tell_changes  # noqa: PLC0415  # not needed by `--help`

    return {
        "shot": one.order.shot,
        "earlier": one.label,
        "later": other.label,
        "changes": list(tell_changes(one.order.job, other.order.job)),
        "frames": [each.as_json() for each in pairs],
        "pair_sheet": sheet,
    }


def _words(one: "Finished", other: "Finished", pairs: list["FramePair"]) -> list[str]:
    from glimsum_jobs.job_changes import tell_changes  # noqa: PLC0415  # not needed by `--help`

    equal = sum(each.words == "equal" for each in pairs)
    lines = [f"{one.order.shot}: {one.label} earlier, {other.label} later; {equal} of "
             f"{len(pairs)} frames are equal"]  # fmt: skip
    lines += [f"  {each}" for each in tell_changes(one.order.job, other.order.job)]
    rest = [each for each in pairs if each.words != "equal"]
    if rest:
        lines += table_lines(HEADING, [_row(each) for each in rest])
    return lines


def _row(pair: "FramePair") -> tuple[object, ...]:
    told = pair.difference
    if told is None:
        return pair.frame, pair.words, "", "", "", "", ""
    return (
        pair.frame,
        pair.words,
        f"{told.mean:.3g}",
        f"{told.largest:.3g}",
        "" if told.stops is None else f"{told.stops:+.3f}",
        "" if told.largest_stops is None else f"{told.largest_stops:+.3f}",
        f"{100 * told.changed_share:.4g} %",
    )
