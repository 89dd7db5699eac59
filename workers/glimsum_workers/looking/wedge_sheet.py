"""A wedge on disk: the contact sheet, and beside it in JSON what each cell would change."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path, PurePath

from glimsum_jobs.problems import Problem
from glimsum_jobs.shot import ShotJob
from glimsum_jobs.wedges import Wedge, job_of_cell
from glimsum_workers.frames.previews import encode_picture
from glimsum_workers.frames.roots import Roots
from glimsum_workers.frames.sheets import Labelled, draw_sheet
from glimsum_workers.frames.whole import nothing_to_ask, write_whole
from glimsum_workers.light.kept_passes import LightRoom
from glimsum_workers.looking.wedge_shot import KnownShot, WedgePictures, make_wedge

AS_IT_IS = "as it is"


@dataclass(frozen=True)
class WrittenWedge:
    """What was written.

    Attributes
    ----------
    digest : str
        SHA-256 of the sheet's file, hexadecimal.
    bytes : int
        Of that file.
    problems : tuple of Problem
        Remarks of check and measuring.
    """

    digest: str
    bytes: int
    problems: tuple[Problem, ...]


@dataclass(frozen=True)
class WedgePlace:
    """Where a wedge is made.

    Attributes
    ----------
    roots : Roots
        Where this machine has the roots.
    kept : Path
        Where measurements and small sources are kept; it exists.
    room : LightRoom
        How much light may be kept there.
    folder : Path
        Where sheet and JSON are written; it exists.
    token : str
        Part of temporary names.
    """

    roots: Roots
    kept: Path
    room: LightRoom
    folder: Path
    token: str


def write_wedge(
    wedge: Wedge,
    job: ShotJob,
    place: WedgePlace,
    *,
    known: KnownShot | None = None,
    before_rename: Callable[[], None] = nothing_to_ask,
) -> WrittenWedge:
    """Make the pictures of a wedge and write its sheet and its JSON.

    Parameters
    ----------
    wedge : Wedge
        From `glimsum_jobs.wedges.describe_wedge`; its sheet ends in ``.jpg`` or ``.png``.
    job : ShotJob
        What it was described of; every path in it is ``root:path``.
    place : WedgePlace
        Where everything is.
    known : KnownShot, optional
        What check and measuring found of a version of the shot.
    before_rename : callable, optional
        Asked before each picture and right before each file takes its name; what it raises ends
        the work and leaves nothing half written.

    Returns
    -------
    WrittenWedge
        The sheet's digest, and remarks.

    Raises
    ------
    JobError
        The check stops the shot or one of the frames, or the sheet would be too large.
    SourceError, LightError
        A file can't be read, or the numbers of a cell make no light.
    OutputError
        A file can't be written whole.
    """
    jobs = [job_of_cell(job, cell) for cell in wedge.cells]
    made = make_wedge(
        jobs,
        wedge.frames,
        place.roots,
        place.kept,
        place.room,
        wedge.width,
        columns=wedge.columns,
        known=known,
        ask=before_rename,
    )
    frames = ", ".join(map(str, wedge.frames))
    several = "s" if len(wedge.frames) > 1 else ""
    title = f"{wedge.shot}, frame{several} {frames}; now {', '.join(wedge.now)}"
    kind = "PNG" if wedge.sheet.lower().endswith(".png") else "JPEG"
    file = str(place.folder / wedge.sheet)
    sheet = draw_sheet(list(_labelled(wedge, made)), wedge.columns, title, file)
    content = encode_picture(sheet, kind, file)
    text = wedge.model_dump_json(indent=1).encode() + b"\n"
    write_whole(place.folder, wedge.sheet, content, place.token, before_rename)
    beside = PurePath(wedge.sheet).with_suffix(".json").name
    write_whole(place.folder, beside, text, place.token, before_rename)
    return WrittenWedge(sha256(content).hexdigest(), len(content), made.problems)


def _labelled(wedge: Wedge, made: WedgePictures) -> Iterator[Labelled]:
    several = len(made.frames) > 1
    for each in made.frames:
        for cell, picture in zip(wedge.cells, each.pictures, strict=True):
            frame = f", frame {each.frame}" if several else ""
            mark = f", {AS_IT_IS}" if cell.as_it_is else ""
            yield Labelled(f"{cell.cell}{frame}: {cell.words}{mark}", picture)
