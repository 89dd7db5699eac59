"""Frames that an earlier version of the shot has finished, and that this one takes over."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from pydantic import ValidationError

from glimsum_jobs.errors import GlimsumError, SourceError
from glimsum_jobs.measurements import Combined
from glimsum_jobs.orders import RunOrder
from glimsum_jobs.paths import RootPath, parse_root_path
from glimsum_jobs.problems import Place, Problem, Rank
from glimsum_workers.footage.digests import digest_of
from glimsum_workers.frames.earlier_versions import earlier_folders, read_finished
from glimsum_workers.frames.masters import MasterAttributes, header_attributes
from glimsum_workers.frames.roots import Roots
from glimsum_workers.frames.taking_over import take_over
from glimsum_workers.writing.version_folder import (
    LINES,
    MASTERS,
    PREVIEWS,
    master_name,
    preview_name,
)
from glimsum_workers.writing.writer import Writer


@dataclass(frozen=True)
class Wanted:
    """A frame as this version would make it.

    Attributes
    ----------
    frame : int
        Shot frame.
    fingerprint : str
        Digest of everything that changes its pixels.
    form : str
        Digest of everything else in its file: `form_of`.
    look : str
        Digest of how its preview is shown.
    """

    frame: int
    fingerprint: str
    form: str
    look: str


@dataclass(frozen=True)
class TakenFrame:
    """A frame that lies in this version now.

    Attributes
    ----------
    earlier : Combined
        What it left behind in the earlier version.
    version : str
        That version: ``v001``.
    preview : bool
        Its preview was taken over too; otherwise one is to be made from the master.
    """

    earlier: Combined
    version: str
    preview: bool


def form_of(attributes: MasterAttributes, size: tuple[int, int]) -> str:
    """Return a digest of the header of a master: its attributes, and height and width in pixels."""
    told = {
        name: [each.kind, each.data.hex()] for name, each in header_attributes(attributes).items()
    }
    return digest_of("form", told, list(size))


@dataclass
class EarlierFrames:
    """Finds frames in the folders of earlier versions; each folder is read once.

    Attributes
    ----------
    order : RunOrder
        This version.
    roots : Roots
        Where this machine has the roots.
    """

    order: RunOrder
    roots: Roots
    _folders: list[RootPath] | None = None
    _read: dict[RootPath, dict[int, bytes]] = field(default_factory=dict)

    def take(self, wanted: Wanted, writer: Writer) -> tuple[TakenFrame | None, list[Problem]]:
        """Take a frame over if an earlier version has finished the same one.

        Parameters
        ----------
        wanted : Wanted
            The frame as this version would make it.
        writer : Writer
            Who writes.

        Returns
        -------
        taken : TakenFrame or None
            None: it has to be combined.
        remarks : list of Problem
            Earlier masters that were the same once and are damaged now.

        Raises
        ------
        OutputError
            The file can't be written whole.
        LeaseLost
            From the writer; nothing was left behind then.
        """
        remarks: list[Problem] = []
        for folder, earlier in self._same(wanted):
            writer.ask()
            source = folder.child(MASTERS).child(earlier.name)
            name = master_name(self.order, wanted.frame)
            try:
                self._bring(source, MASTERS, name, earlier.file_digest, writer)
            except SourceError as error:
                if not _is_gone(self.roots, source):
                    remarks.append(_damaged(self.order, wanted.frame, error))
                continue
            shown = self._bring_preview(folder, earlier, wanted, writer)
            return TakenFrame(earlier, folder.name, shown), remarks
        return None, remarks

    def _same(self, wanted: Wanted) -> Iterator[tuple[RootPath, Combined]]:
        """Give earlier frames with the same pixels and the same header, the newest first."""
        if not self.order.reuse:
            return
        if self._folders is None:
            self._folders = self._find()
        for folder in self._folders:
            if folder not in self._read:
                self._read[folder] = read_finished(self.roots, folder, LINES)
            text = self._read[folder].get(wanted.frame)
            earlier = None if text is None else _combined(text)
            same = earlier and (earlier.fingerprint, earlier.form) == (
                wanted.fingerprint,
                wanted.form,
            )
            if earlier is not None and same and _is_plain(earlier.name):
                yield folder, earlier

    def _find(self) -> list[RootPath]:
        try:
            return earlier_folders(self.roots, parse_root_path(self.order.folder))
        except GlimsumError:
            return []

    def _bring(self, source: RootPath, into: str, name: str, digest: str, writer: Writer) -> None:
        with self.roots.opened(source) as descriptor:
            take_over(
                descriptor,
                self._folder(into),
                name,
                digest=digest,
                told=str(source),
                token=writer.token,
                before_rename=writer.ask,
            )

    def _folder(self, name: str) -> Path:
        return self.roots.make_folder(parse_root_path(self.order.folder).child(name))

    def _bring_preview(
        self, folder: RootPath, earlier: Combined, wanted: Wanted, writer: Writer
    ) -> bool:
        if earlier.look != wanted.look or not _is_plain(earlier.preview):
            return False
        source = folder.child(PREVIEWS).child(earlier.preview)
        name = preview_name(self.order, wanted.frame)
        try:
            self._bring(source, PREVIEWS, name, earlier.preview_digest, writer)
        except SourceError:
            return False
        return True


def _combined(text: bytes) -> Combined | None:
    """Return what a frame left behind; None for that of a release that told other things."""
    try:
        return Combined.model_validate_json(text)
    except ValidationError:
        return None


def _is_plain(name: str) -> bool:
    return bool(name) and "/" not in name and not name.startswith(".")


def _is_gone(roots: Roots, path: RootPath) -> bool:
    """Return whether a file was taken away: a person makes room so, and no one need be told."""
    try:
        roots.status(path)
    except GlimsumError:
        return True
    return False


def _damaged(order: RunOrder, frame: int, error: SourceError) -> Problem:
    return Problem(
        rank=Rank.REMARK,
        what="the master of an earlier version is damaged; the frame was combined anew",
        place=Place(shot=order.shot, frame=frame, file=error.place.file),
        seen=error.seen or error.what,
        expected=error.expected or "a whole file",
        remedy="This version is whole. Look at the disk, and don't deliver the earlier one.",
    )
