"""The first stage: every file of a shot looked at before any frame is touched."""

from collections import Counter
from collections.abc import Callable

from glimsum_jobs.errors import GlimsumError
from glimsum_jobs.mattes import PictureMatte
from glimsum_jobs.measurements import Checked, FoundElement, FoundPass
from glimsum_jobs.outputs import Master
from glimsum_jobs.paths import parse_root_path
from glimsum_jobs.problems import Place, Problem, Rank, stopped_frames, stops_shot
from glimsum_jobs.shot import ShotJob
from glimsum_jobs.take_checks import spare_takes
from glimsum_workers.checking.alignment import look_at_alignment
from glimsum_workers.checking.elements import look_at_element, look_at_insert
from glimsum_workers.checking.files import look_at_matte, look_at_pass
from glimsum_workers.checking.start_offsets import Started, find_start_offsets
from glimsum_workers.frames.kept import Keep
from glimsum_workers.frames.roots import Roots

GB = 1e9


def check_shot(
    job: ShotJob,
    roots: Roots,
    keep: Keep | None = None,
    still_wanted: Callable[[], object] = lambda: None,
) -> Checked:
    """Find the start offsets that are asked for, then look at every pass and picture matte.

    Parameters
    ----------
    job : ShotJob
        Every path in it is ``root:path``.
    roots : Roots
        Where this machine has the roots.
    keep : Keep, optional
        Where what finding start offsets told is kept for the next check.
    still_wanted : callable
        Asked while start offsets are sought; what it raises (LeaseLost) ends the check.

    Returns
    -------
    Checked
        What was found, and all problems: what stops the shot, what stops a frame, remarks.
    """
    started = find_start_offsets(job, roots, keep, still_wanted)
    job = _with_offsets(job, started)
    passes: dict[str, FoundPass] = {}
    mattes: dict[str, FoundPass] = {}
    problems: list[Problem] = []
    for name in job.passes:
        guessed = name in started and stops_shot(list(started[name].problems))
        looked = look_at_pass(job, name, roots, by_frame=not guessed)
        problems += looked.problems
        if looked.found is not None:
            sync = started[name].found if name in started else None
            passes[name] = looked.found.model_copy(update={"sync": sync})
    for name, matte in job.mattes.items():
        if isinstance(matte, PictureMatte):
            looked = look_at_matte(job, name, matte, roots)
            problems += looked.problems
            if looked.found is not None:
                mattes[name] = looked.found
    elements: dict[str, FoundElement] = {}
    for name in job.elements:
        seen = look_at_element(job, name, roots, _size_of(passes.get(job.reference_pass)))
        problems += seen.problems
        if seen.found is not None:
            elements[name] = seen.found
    inserts, seen_problems = _look_at_inserts(job, roots)
    problems += seen_problems
    for name in job.passes:
        problems += look_at_alignment(job, name, passes, roots)
    problems, lacking = spare_takes(job, problems)
    passes |= {
        name: passes[name].model_copy(update={"lacking": frames})
        for name, frames in lacking.items()
        if name in passes
    }
    problems += _sizes_that_differ(job, passes, mattes)
    problems += _offset_problems(job, started, problems)
    problems += _nothing_left(job, problems)
    needed, free, room = _room(job, passes, roots)
    problems += room
    return Checked(
        passes=passes,
        mattes=mattes,
        inserts=inserts,
        elements=elements,
        problems=tuple(problems),
        needed_bytes=needed,
        free_bytes=free,
    )


def _look_at_inserts(job: ShotJob, roots: Roots) -> tuple[dict[str, FoundElement], list[Problem]]:
    seen = {name: look_at_insert(job, name, roots) for name in job.inserts}
    found = {name: each.found for name, each in seen.items() if each.found is not None}
    return found, [problem for each in seen.values() for problem in each.problems]


def _size_of(found: FoundPass | None) -> tuple[int, int] | None:
    return None if found is None else (found.height, found.width)


def _with_offsets(job: ShotJob, started: dict[str, Started]) -> ShotJob:
    passes = {
        name: job.passes[name].model_copy(update={"start_offset": each.offset})
        for name, each in started.items()
    }
    return job.model_copy(update={"passes": {**job.passes, **passes}}) if passes else job


def _offset_problems(
    job: ShotJob, started: dict[str, Started], known: list[Problem]
) -> list[Problem]:
    """Return what is asked about start offsets, but for passes that could not be looked at."""
    stopped = {each.place.pass_name for each in stops_shot(known)}
    return [
        problem
        for name, each in started.items()
        if not stopped & {name, job.reference_pass}
        for problem in each.problems
    ]


def _sizes_that_differ(
    job: ShotJob, passes: dict[str, FoundPass], mattes: dict[str, FoundPass]
) -> list[Problem]:
    """Find passes and mattes that are not as large as most of the others."""
    sizes = {("pass", name): (each.width, each.height) for name, each in passes.items()}
    sizes |= {("matte", name): (each.width, each.height) for name, each in mattes.items()}
    if not sizes:
        return []
    (width, height), _ = Counter(sizes.values()).most_common(1)[0]
    return [
        Problem(
            rank=Rank.STOPS_SHOT,
            what=f"{kind} {name} has another size than the others",
            place=Place(
                shot=job.shot,
                pass_name=name if kind == "pass" else None,
                field=f"{kind}es.{name}" if kind == "pass" else f"mattes.{name}",
            ),
            seen=f"{size[0]} x {size[1]} pixels",
            expected=f"{width} x {height} pixels",
            remedy="Crop it to the size of the others, or give the files that belong here.",
        )
        for (kind, name), size in sizes.items()
        if size != (width, height)
    ]


def _nothing_left(job: ShotJob, problems: list[Problem]) -> list[Problem]:
    stopped = stopped_frames(problems)
    if len(stopped) < job.frames.count:
        return []
    return [
        Problem(
            rank=Rank.STOPS_SHOT,
            what="not one frame of the shot has all its files",
            place=Place(shot=job.shot),
            seen=f"{len(stopped)} of {job.frames.count} frames lack a file",
            expected="at least one frame whose passes are all there",
            remedy="Look at first, step and start_offset of the passes named above.",
        )
    ]


def _room(
    job: ShotJob, passes: dict[str, FoundPass], roots: Roots
) -> tuple[int, int, list[Problem]]:
    """Hold the room on the disk against what the masters may need at most."""
    found = next(iter(passes.values()), None)
    place = Place(shot=job.shot, field="output", file=job.output)
    try:
        free = roots.free_bytes(parse_root_path(job.output).root)
    except GlimsumError as error:
        return 0, 0, [error.problem(Rank.STOPS_SHOT, **place.model_dump(exclude_none=True))]
    if found is None:
        return 0, free, []
    pixels = found.width * found.height
    needed = job.frames.count * pixels * (_bytes_a_pixel(job.masters[0]) + 1)
    if needed <= free:
        return needed, free, []
    problem = Problem(
        rank=Rank.STOPS_SHOT,
        what="the disk has not enough room for the masters",
        place=place,
        seen=f"{free / GB:.2f} GB free",
        expected=f"{needed / GB:.2f} GB for {job.frames.count} frames, uncompressed at worst",
        remedy="Make room, or name another output.",
    )
    return needed, free, [problem]


def _bytes_a_pixel(master: Master) -> int:
    return 4 * (2 if master.pixel == "half" else 4)
