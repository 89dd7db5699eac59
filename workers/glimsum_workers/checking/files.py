"""One pass or picture matte held against its files: numbers, sizes, wholeness, clip facts."""

from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Literal

from glimsum_jobs.errors import GlimsumError, SourceError
from glimsum_jobs.frame_ranges import runs_of
from glimsum_jobs.mattes import PictureMatte
from glimsum_jobs.measurements import FoundPass
from glimsum_jobs.passes import Crop
from glimsum_jobs.paths import parse_root_path
from glimsum_jobs.problems import Place, Problem, Rank
from glimsum_jobs.shot import ShotJob
from glimsum_workers.checking.clips import clip_problems
from glimsum_workers.frames.facts import Facts
from glimsum_workers.frames.roots import Roots
from glimsum_workers.frames.sources import Source, open_source


@dataclass
class Looked:
    """What was found of one pass or matte, and what is wrong with it."""

    found: FoundPass | None = None
    problems: list[Problem] = field(default_factory=list)


@dataclass(frozen=True)
class _Subject:
    """What is looked at, in the terms pass and matte share."""

    job: ShotJob
    place: Place
    files: str
    first: int | None
    start_offset: int
    number: Callable[[int, int], int]
    """(shot frame, first) -> file number."""
    by_frame: bool
    """Frames need a file of their own; darks and ambients are averaged over what is there."""
    nearest: bool
    crop: Crop | None
    skip: frozenset[int] = frozenset()


def look_at_pass(job: ShotJob, name: str, roots: Roots, *, by_frame: bool = True) -> Looked:
    """Look at the files of a pass.

    Parameters
    ----------
    job : ShotJob
        With start offsets as numbers.
    name : str
        The pass.
    roots : Roots
        Where this machine has the roots.
    by_frame : bool
        False where the offset is a guess: which frame lacks its file isn't known then.
    """
    each = job.passes[name]
    subject = _Subject(
        job=job,
        place=Place(shot=job.shot, pass_name=name),
        files=each.files,
        first=each.first,
        start_offset=each.stated_offset,
        number=lambda frame, first: each.number(frame, shot_first=job.frames.first, first=first),
        by_frame=each.use is None and by_frame,
        nearest=each.missing == "nearest",
        crop=each.crop,
        skip=frozenset(each.skip),
    )
    return _look(subject, roots, each.range)


def look_at_matte(job: ShotJob, name: str, matte: PictureMatte, roots: Roots) -> Looked:
    """Look at the files of a picture matte."""
    subject = _Subject(
        job=job,
        place=Place(shot=job.shot, field=f"mattes.{name}"),
        files=matte.files,
        first=matte.first,
        start_offset=matte.start_offset,
        number=lambda frame, first: matte.number(frame, shot_first=job.frames.first, first=first),
        by_frame=True,
        nearest=False,
        crop=None,
    )
    return _look(subject, roots, matte.range)


def _look(
    subject: _Subject, roots: Roots, stated_range: Literal["limited", "full"] | None
) -> Looked:
    looked = Looked()
    known = subject.place.model_dump(exclude_none=True)
    try:
        with open_source(roots, parse_root_path(subject.files)) as source:
            facts = _facts_of(source)
            place = subject.place.filled(file=subject.files)
            looked.problems += clip_problems(subject.job, place, stated_range, facts)
            if facts.clip is not None and facts.clip.variable_rate:
                source.read(0)  # refuses the clip and names its first uneven frame
            _look_at_numbers(subject, source, facts, looked)
    except GlimsumError as error:
        looked.problems.append(error.problem(Rank.STOPS_SHOT, **known))
    return looked


def _facts_of(source: Source) -> Facts:
    """Return the facts of the first file that is whole, so that a dead one stops its frame only."""
    try:
        return source.facts
    except SourceError:
        for number in source.numbers or ():
            with suppress(SourceError):
                return source.inspect(number)
        raise


def _look_at_numbers(subject: _Subject, source: Source, facts: Facts, looked: Looked) -> None:
    numbers = source.numbers
    first = subject.first if subject.first is not None else (numbers[0] if numbers else 0)
    wanted = {frame: subject.number(frame, first) for frame in subject.job.frames.numbers}
    present = None if numbers is None else set(numbers)
    missing = {f: n for f, n in wanted.items() if present is not None and n not in present}
    needed = {frame: number for frame, number in wanted.items() if frame not in missing}
    if numbers is None:  # one still, held: looked at once
        needed = dict.fromkeys(wanted, first)
    used = needed.values() if subject.by_frame else numbers or needed.values()
    errors = _inspect_all(source, set(used) - subject.skip, facts)
    dead = {frame: number for frame, number in needed.items() if number in errors}
    _name_dead(subject, errors, dead, looked)
    replaced: dict[int, int] = {}
    if subject.by_frame:
        lost = {**missing, **dead}
        if subject.nearest and numbers is not None:
            replaced = _nearest(subject, numbers, lost, set(dead.values()), looked)
        else:
            _name_missing(subject, source, missing, len(numbers or ()), looked)
    width, height = facts.width, facts.height
    if subject.crop is not None:
        _check_crop(subject, subject.crop, facts, looked)
        width, height = subject.crop.width, subject.crop.height
    looked.found = FoundPass(
        first=first,
        start_offset=subject.start_offset,
        width=width,
        height=height,
        count=1 if numbers is None else len(numbers),
        covers=numbers is not None and not missing and not dead,
        alpha="A" in {name.rpartition(".")[2] for name in facts.channels},
        replaced=replaced,
    )


def _inspect_all(source: Source, numbers: Iterable[int], like: Facts) -> dict[int, SourceError]:
    """Inspect every file that is used; return what is wrong with those that can't be."""
    if like.clip is not None:
        return {}
    found = {number: _inspect(source, number, like) for number in sorted(numbers)}
    return {number: error for number, error in found.items() if error is not None}


def _name_dead(
    subject: _Subject, errors: dict[int, SourceError], dead: dict[int, int], looked: Looked
) -> None:
    """Name the files that are not whole or of another size, with the frame each stops."""
    known = subject.place.model_dump(exclude_none=True)
    if not subject.by_frame:
        looked.problems += [error.problem(Rank.REMARK, **known) for error in errors.values()]
        return
    rank = Rank.REMARK if subject.nearest else Rank.STOPS_FRAME
    for frame, number in dead.items():
        looked.problems.append(errors[number].problem(rank, frame=frame, **known))


def _inspect(source: Source, number: int, like: Facts) -> SourceError | None:
    try:
        facts = source.inspect(number)
    except SourceError as error:
        return error
    if (facts.width, facts.height) == (like.width, like.height):
        return None
    return SourceError(
        "the picture has another size than the first of its pass",
        place=Place(file=source.file_name(number)),
        seen=f"{facts.width} x {facts.height} pixels",
        expected=f"{like.width} x {like.height} pixels",
        remedy="Give the file that belongs here.",
    )


def _name_missing(
    subject: _Subject, source: Source, missing: dict[int, int], count: int, looked: Looked
) -> None:
    """Name files that a frame needs and that are not there, and a pass that is plainly short."""
    total = subject.job.frames.count
    if missing:
        looked.problems.append(
            Problem(
                rank=Rank.REMARK,
                what=f"{len(missing)} of {total} frames have no file in this pass",
                place=subject.place.filled(file=subject.files),
                seen=f"{count} files; none for frames {runs_of(list(missing))}",
                expected=f"files for all {total} frames",
                remedy="Copy them, correct first, step or start_offset, or write missing: nearest.",
            )
        )
    for frame, number in list(missing.items()):
        looked.problems.append(
            Problem(
                rank=Rank.STOPS_FRAME,
                what="the file of this frame is missing",
                place=subject.place.filled(frame=frame, file=source.file_name(number)),
                seen=f"no file with number {number}",
                expected=f"a file with number {number}",
                remedy="Copy it from the card, or write missing: nearest.",
            )
        )


def _nearest(
    subject: _Subject,
    numbers: tuple[int, ...],
    lost: dict[int, int],
    dead: set[int],
    looked: Looked,
) -> dict[int, int]:
    """Find the nearest whole file for each lost one; each is reported, never silent."""
    whole = [number for number in numbers if number not in dead]
    replaced: dict[int, int] = {}
    for frame, number in lost.items():
        if not whole:
            break
        replaced[number] = min(whole, key=lambda other: (abs(other - number), other))
        looked.problems.append(
            Problem(
                rank=Rank.REMARK,
                what="a lost file is replaced by its nearest neighbour",
                place=subject.place.filled(frame=frame),
                seen=f"no whole file with number {number}",
                expected=f"number {number}; number {replaced[number]} stands in",
                remedy="Look at this frame.",
            )
        )
    return replaced


def _check_crop(subject: _Subject, crop: Crop, facts: Facts, looked: Looked) -> None:
    if crop.x + crop.width <= facts.width and crop.y + crop.height <= facts.height:
        return
    looked.problems.append(
        Problem(
            rank=Rank.STOPS_SHOT,
            what="the crop reaches beyond the picture",
            place=subject.place,
            seen=f"{crop.width} x {crop.height} pixels from {crop.x}, {crop.y}",
            expected=f"within {facts.width} x {facts.height} pixels",
            remedy="Correct the crop.",
        )
    )
