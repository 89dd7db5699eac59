"""The movie of a shot, watched by the flash guard as it is written."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from glimsum_jobs.flash_figures import Flashing, FlashSecond
from glimsum_jobs.flash_limits import MOST_FLASHES
from glimsum_jobs.frame_ranges import runs_of
from glimsum_jobs.orders import RunOrder
from glimsum_jobs.problems import Place, Problem, Rank
from glimsum_workers.engine.flashes.guard import FlashGuard, Found
from glimsum_workers.engine.flashes.marking import mark_area
from glimsum_workers.engine.viewing import DisplayCodes
from glimsum_workers.frames.movies import write_movie
from glimsum_workers.frames.sheets import Labelled, draw_card, write_sheet
from glimsum_workers.writing.version_folder import VIEWING
from glimsum_workers.writing.writer import Writer

WARNING = (
    "WARNING\n\nThis film has flashing pictures.\n"
    "They can trigger seizures in people\nwith photosensitive epilepsy."
)
WARNING_SECONDS = 4
"""How long the card stands: two readings aloud (common practice, no source)."""
MOST_PICTURES = 8
"""On the sheet of the worst second."""
WIDEST_PX = 640
"""Pictures of that sheet are thinned out to less than twice this width."""
MOST_TOLD = 24
"""Frames listed in a remark; the verdict holds them all."""

Draw = Callable[[int], DisplayCodes]
"""Gives the picture of a shot frame, or a card in its stead."""


@dataclass(frozen=True)
class ViewingCopy:
    """A movie that is written.

    Attributes
    ----------
    name : str
        Within the folder of the version.
    flashing : Flashing or None
        What the guard found; None where the job leaves it out.
    remarks : tuple of Problem
        One for each kind of flash over the limit.
    """

    name: str
    flashing: Flashing | None
    remarks: tuple[Problem, ...]


def write_viewing_copy(
    order: RunOrder, size: tuple[int, int], draw: Draw, folder: Path, *, writer: Writer
) -> ViewingCopy:
    """Write the movie of a shot and, where it flashes over the limit, a sheet of the area.

    Parameters
    ----------
    order : RunOrder
        The job says rate, display, guard and card.
    size : tuple of int
        Height and width of its pictures.
    draw : callable
        Gives the picture of a frame; asked for each frame once, and again for the sheet.
    folder : Path
        The viewing folder of the version; must exist.
    writer : Writer
        Who writes.

    Returns
    -------
    ViewingCopy
        Names and verdict.

    Raises
    ------
    OutputError
        The movie or the sheet can't be written whole.
    """
    job, stem = order.job, f"{order.shot}_v{order.version:03d}"
    rate = job.rate_fraction
    card = round(WARNING_SECONDS * rate) if job.viewing.warning_card else 0
    watched = job.viewing.flash_guard
    guard = FlashGuard(*size, rate, job.viewing.display) if watched else None

    def pictures() -> Iterator[DisplayCodes]:
        for picture in _film(order, size, draw, card, writer):
            if guard is not None:
                guard.look(picture)
            yield picture

    name = f"{stem}.mp4"
    write_movie(folder, name, pictures(), rate, token=writer.token, before_rename=writer.ask)
    if guard is None:
        return ViewingCopy(f"{VIEWING}/{name}", None, ())
    shift = job.frames.first - card
    over = [each for each in guard.found() if each.is_over]
    sheet = None
    if over:
        sheet = f"{VIEWING}/{stem}_flashes.png"
        worst = max(over, key=lambda each: each.second.flashes)
        shown = _marked(guard, worst, draw, shift)
        title = f"{order.run}: {_words(worst)}; only what flashes is bright"
        write_sheet(
            folder, f"{stem}_flashes.png", shown, columns=2, title=title,
            token=writer.token, before_rename=writer.ask,
        )  # fmt: skip
    flashing = Flashing(
        seconds=tuple(_second(guard, each, shift) for each in guard.found()),
        over=tuple(edge + shift for edge in guard.over()),
        picture=sheet,
    )
    return ViewingCopy(f"{VIEWING}/{name}", flashing, tuple(_remarks(order, flashing)))


def _film(
    order: RunOrder, size: tuple[int, int], draw: Draw, card: int, writer: Writer
) -> Iterator[DisplayCodes]:
    if card:
        warning = draw_card(WARNING, size[1], size[0])
        for _ in range(card):
            yield warning
    for frame in order.asked.numbers:
        writer.ask()
        yield draw(frame)


def _second(guard: FlashGuard, found: Found, shift: int) -> FlashSecond:
    return FlashSecond(
        kind=found.kind,
        area=found.area,
        flashes=found.second.flashes,
        frames=tuple(edge + shift for edge in found.second.edges),
        box=guard.screen.box(found.second.place),
    )


def _marked(guard: FlashGuard, worst: Found, draw: Draw, shift: int) -> list[Labelled]:
    every = max(1, guard.screen.size[1] // WIDEST_PX)
    cells = guard.screen.enlarge(worst.second.cells)[::every, ::every]
    left, top, right, bottom = guard.screen.box(worst.second.place)
    box = left // every, top // every, right // every, bottom // every
    return [
        Labelled(
            f"{edge + shift}: flash {number} of {worst.second.flashes}",
            mark_area(draw(edge + shift)[::every, ::every], cells, box),
        )
        for number, edge in enumerate(worst.second.edges[:MOST_PICTURES], 1)
    ]


def _words(found: Found) -> str:
    return f"{found.second.flashes} {found.kind} flashes in one second"


def _remarks(order: RunOrder, flashing: Flashing) -> Iterator[Problem]:
    """Name the worst second of each kind that is over the limit."""
    for kind in ("general", "red"):
        over = [each for each in flashing.seconds if each.kind == kind and each.is_over]
        if not over:
            continue
        worst = max(over, key=lambda each: (each.flashes, each.area == "picture"))
        left, top, right, bottom = worst.box
        where = (
            "more than a quarter of the picture"
            if worst.area == "picture"
            else f"more than a quarter of the field {left}, {top} to {right}, {bottom}"
        )
        yield Problem(
            rank=Rank.REMARK,
            what=f"the viewing copy flashes over the published limit ({kind} flashes)",
            place=Place(shot=order.shot, frame=worst.frames[0], file=flashing.picture),
            seen=f"{worst.flashes} in the second from frame {worst.frames[0]} (frames "
            f"{_some(worst.frames)}), {where}; all seconds over it: {_some(flashing.over)}",
            expected=f"{MOST_FLASHES} at most in any one second (WCAG 2.2, 2.3.1)",
            remedy="Set cues further apart or lower them, and warn whoever looks at it. This is "
            "an aid, not a certificate: have anything for broadcast checked by a qualified "
            "service.",
        )


def _some(frames: tuple[int, ...]) -> str:
    more = len(frames) - MOST_TOLD
    return runs_of([*frames[:MOST_TOLD]]) + (f" and {more} more" if more > 0 else "")
