"""One element or insert held against its files: numbers, sizes, coverage, wholeness, clip facts."""

from collections.abc import Iterator
from dataclasses import dataclass, field

from glimsum_jobs.elements import Element
from glimsum_jobs.errors import GlimsumError, SourceError
from glimsum_jobs.frame_ranges import runs_of
from glimsum_jobs.inserts import Insert
from glimsum_jobs.measurements import FoundElement
from glimsum_jobs.paths import parse_root_path
from glimsum_jobs.problems import Place, Problem, Rank
from glimsum_jobs.shot import ShotJob
from glimsum_workers.checking.clips import clip_problems
from glimsum_workers.engine.elements.placing import corners_of, placing_matrix
from glimsum_workers.frames.facts import Facts
from glimsum_workers.frames.roots import Roots
from glimsum_workers.frames.sources import Source, open_source


@dataclass
class LookedElement:
    """What was found of one element, and what is wrong with it."""

    found: FoundElement | None = None
    facts: Facts | None = None
    problems: list[Problem] = field(default_factory=list)


def look_at_element(
    job: ShotJob, name: str, roots: Roots, size: tuple[int, int] | None = None
) -> LookedElement:
    """Look at the files of an element.

    Parameters
    ----------
    job : ShotJob
        Every path in it is ``root:path``.
    name : str
        The element.
    roots : Roots
        Where this machine has the roots.
    size : tuple of int, optional
        (height, width) of the reference picture, where it is known.
    """
    element = job.elements[name]
    place = Place(shot=job.shot, field=f"elements.{name}", file=element.files)
    looked = _look(job, element, roots, place)
    if looked.facts is not None:
        looked.problems += _coverage(job, name, looked.facts, place)
        looked.problems += _size(element, looked.facts, size, place)
        looked.problems += _never_seen(job, element, looked.facts, size, place)
    return looked


def look_at_insert(job: ShotJob, name: str, roots: Roots) -> LookedElement:
    """Look at the files of an insert, as `look_at_element` does at those of an element."""
    insert = job.inserts[name]
    place = Place(shot=job.shot, field=f"inserts.{name}", file=insert.files)
    looked = _look(job, insert, roots, place)
    if looked.facts is not None:
        looked.problems += _stated(name, insert.alpha, looked.facts, place)
    return looked


def _look(job: ShotJob, laid: Element | Insert, roots: Roots, place: Place) -> LookedElement:
    looked = LookedElement()
    try:
        with open_source(roots, parse_root_path(laid.files)) as source:
            facts = looked.facts = source.facts
            looked.problems += clip_problems(job, place, laid.range, facts)
            if facts.clip is not None and facts.clip.variable_rate:
                source.read(0)  # refuses the clip and names its first uneven frame
            _look_at_numbers(job, laid, source, looked, place)
    except GlimsumError as error:
        known = place.model_dump(exclude_none=True)
        looked.problems.append(error.problem(Rank.STOPS_SHOT, **known))
    return looked


def _look_at_numbers(
    job: ShotJob, element: Element | Insert, source: Source, looked: LookedElement, place: Place
) -> None:
    numbers, facts = source.numbers, source.facts
    first = element.first if element.first is not None else (numbers[0] if numbers else 0)
    last = None if numbers is None else numbers[-1]
    looked.found = FoundElement(
        first=first,
        last=last,
        width=facts.width,
        height=facts.height,
        alpha=_has_coverage(facts),
    )
    wanted = {
        frame: element.number(frame, shot_first=job.frames.first, first=first, last=last)
        for frame in job.frames.numbers
        if element.is_there(frame)
    }
    if numbers is not None:
        too_late = {frame: n for frame, n in wanted.items() if n > numbers[-1]}
        missing = {f: n for f, n in wanted.items() if f not in too_late and n not in numbers}
        looked.problems += _ends(too_late, numbers, place)
        looked.problems += [_missing(f, n, source, place) for f, n in missing.items()]
        wanted = {f: n for f, n in wanted.items() if f not in too_late and f not in missing}
    if facts.clip is None:
        looked.problems += _dead(wanted, source, facts, place)


def _ends(too_late: dict[int, int], numbers: tuple[int, ...], place: Place) -> Iterator[Problem]:
    if too_late:
        frame, number = next(iter(too_late.items()))
        yield Problem(
            rank=Rank.STOPS_SHOT,
            what=f"the {_kind(place)} ends before frame {frame}",
            place=place,
            seen=f"files {runs_of(list(numbers))}; none for frames {runs_of(list(too_late))}",
            expected=f"number {number} for frame {frame}",
            remedy="Write beyond: hold or beyond: loop, "
            + ("show it on fewer frames, or " if _kind(place) == "element" else "or ")
            + "begin earlier with first.",
        )


def _missing(frame: int, number: int, source: Source, place: Place) -> Problem:
    return Problem(
        rank=Rank.STOPS_FRAME,
        what=f"the {_kind(place)} has no file for this frame",
        place=place.model_copy(update={"frame": frame, "file": source.file_name(number)}),
        seen=f"no file with number {number}",
        expected=f"a file with number {number}",
        remedy="Copy it, or correct first, every or step.",
    )


def _dead(wanted: dict[int, int], source: Source, like: Facts, place: Place) -> Iterator[Problem]:
    kind, numbers = _kind(place), sorted(set(wanted.values()))
    errors = {number: _inspect(source, number, like, kind) for number in numbers}
    for frame, number in wanted.items():
        error = errors[number]
        if error is not None:
            known = place.model_copy(update={"frame": frame, "file": source.file_name(number)})
            yield error.problem(Rank.STOPS_FRAME, **known.model_dump(exclude_none=True))


def _inspect(source: Source, number: int, like: Facts, kind: str) -> SourceError | None:
    try:
        facts = source.inspect(number)
    except SourceError as error:
        return error
    if (facts.width, facts.height) == (like.width, like.height):
        return None
    return SourceError(
        f"the picture has another size than the first of its {kind}",
        place=Place(file=source.file_name(number)),
        seen=f"{facts.width} x {facts.height} pixels",
        expected=f"{like.width} x {like.height} pixels",
        remedy="Give the file that belongs here.",
    )


def _kind(place: Place) -> str:
    """Return element or insert: what a place belongs to."""
    return "insert" if (place.field or "").startswith("inserts.") else "element"


def _stated(name: str, alpha: str | None, facts: Facts, place: Place) -> Iterator[Problem]:
    if alpha in ("premultiplied", "straight") and not _has_coverage(facts):
        yield Problem(
            rank=Rank.STOPS_SHOT,
            what=f"the files of {_kind(place)} {name} hold no coverage",
            place=place,
            seen=f"channels {', '.join(facts.channels)}; alpha: {alpha}",
            expected="a channel A, or alpha: none",
            remedy="Write alpha: none for light on black, or give files with coverage.",
        )


def _has_coverage(facts: Facts) -> bool:
    return "A" in {name.rpartition(".")[2] for name in facts.channels}


def _coverage(job: ShotJob, name: str, facts: Facts, place: Place) -> Iterator[Problem]:
    """Hold what the job says of coverage to what the files have."""
    alpha = job.elements[name].alpha
    yield from _stated(name, alpha, facts, place)
    covers = alpha == "none" or not _has_coverage(facts)
    hiding = [step.operator for step in job.steps if step.element == name and step.matte is None]
    hiding = [operator for operator in hiding if operator in ("over", "atop")]
    if covers and hiding:
        yield Problem(
            rank=Rank.REMARK,
            what=f"element {name} hides everything behind its rectangle",
            place=place,
            seen=f"operator: {hiding[0]}, and no coverage",
            expected="files with coverage or a matte, or operator: plus for light on black",
            remedy="Nothing to do if that is meant.",
        )


def _size(
    element: Element, facts: Facts, size: tuple[int, int] | None, place: Place
) -> Iterator[Problem]:
    """Tell the scale that would fit an element nobody placed."""
    if element.place or size is None or size == (facts.height, facts.width):
        return
    height, width = size
    fitting = width / facts.width
    yield Problem(
        rank=Rank.REMARK,
        what="the element has another size than the picture and no place",
        place=place,
        seen=f"{facts.width} x {facts.height} pixels, laid from the top left corner",
        expected=f"{width} x {height} pixels",
        remedy=f"place: [{{frame: ..., x: 0, y: 0, scale: {fitting:.6g}}}] makes it as wide.",
    )


def _never_seen(
    job: ShotJob, element: Element, facts: Facts, size: tuple[int, int] | None, place: Place
) -> Iterator[Problem]:
    """Tell where an element that is placed by hand lies beside the picture on every frame."""
    if element.follow is not None or not element.place or size is None:
        return
    pivot = element.pivot_of(facts.width, facts.height)
    boxes = []
    for frame in job.frames.numbers:
        if element.is_there(frame):
            here = element.placed(frame)
            matrix = placing_matrix(here.x, here.y, here.scale, here.rotation, pivot)
            corners = corners_of(matrix, (facts.height, facts.width))
            low, high = corners.min(axis=0), corners.max(axis=0)
            if low[0] < size[1] and low[1] < size[0] and high[0] > 0 and high[1] > 0:
                return
            boxes.append((low, high))
    if boxes:
        (left, top), (right, bottom) = boxes[0]
        yield Problem(
            rank=Rank.REMARK,
            what="the element lies beside the picture on every frame",
            place=place,
            seen=f"x {left:.1f} to {right:.1f}, y {top:.1f} to {bottom:.1f} on its first frame",
            expected=f"within 0 to {size[1]} and 0 to {size[0]}",
            remedy="x and y are where its pivot lies, from the picture's top left corner.",
        )
