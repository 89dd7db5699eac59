"""One door to what a pass is made of: a sequence, a clip, or one still held over the shot."""

import hashlib
from abc import ABC, abstractmethod
from dataclasses import replace
from types import TracebackType
from typing import Self

from glimsum_jobs.errors import SourceError
from glimsum_jobs.paths import FilePattern, RootPath, pattern_of
from glimsum_jobs.problems import Place
from glimsum_workers.engine.codes import Codes, FloatPixels
from glimsum_workers.engine.laying import Halves
from glimsum_workers.frames.ahead import ask_ahead
from glimsum_workers.frames.clips import Clip
from glimsum_workers.frames.facts import Facts, clip_as_facts, still_facts
from glimsum_workers.frames.identities import digest_of, has_digest
from glimsum_workers.frames.limits import kind_by_name
from glimsum_workers.frames.roots import Roots
from glimsum_workers.frames.sequences import Scan, scan
from glimsum_workers.frames.stills import read_halves, read_still
from glimsum_workers.frames.wholeness import check_whole


class Source(ABC):
    """What a pass is read from; numbers are file numbers, of a clip frames from 0."""

    @property
    @abstractmethod
    def numbers(self) -> tuple[int, ...] | None:
        """Numbers that are there, sorted; None where every number answers (one still, held)."""

    @property
    @abstractmethod
    def facts(self) -> Facts:
        """Facts of the first file; its pixels are not read."""

    @abstractmethod
    def read(self, number: int) -> Codes:
        """Return what is stored for `number`; raises SourceError with file and remedy."""

    def halves(self, number: int) -> Halves | None:
        """Return the planes of a plain half-float picture; None for anything else."""
        del number
        return None

    def ask_ahead(self, number: int, *, known: bool) -> bool:
        """Ask the system for `number`'s file, where it is one of its own that is read whole.

        Where not `known` it is left alone if its fingerprint is, which then reads nothing.
        Returns whether it was asked for.
        """
        del number, known
        return False

    @abstractmethod
    def inspect(self, number: int) -> Facts:
        """Return the facts of `number`'s file; raises SourceError where it is not whole."""

    @abstractmethod
    def file_name(self, number: int) -> str:
        """Return root, path and, of a clip, the frame: how messages call `number`."""

    @abstractmethod
    def fingerprint(self, number: int) -> str:
        """Return 64 hex digits that change when the bytes behind `number` change."""

    @abstractmethod
    def close(self) -> None:
        """Close what is open."""

    def __enter__(self) -> Self:
        """Return the source, to be closed at the end of the block."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        """Close what is open."""
        self.close()


def open_source(roots: Roots, path: RootPath) -> Source:
    """Open what `path` names.

    Parameters
    ----------
    roots : Roots
        Where the roots of this machine are.
    path : RootPath
        A pattern (``haze.%04d.jpg``), a clip, or one still. A clip opened so reads its frames
        from one place on; share it within one thread only.

    Returns
    -------
    Source
        To be closed by the caller, or used in a ``with`` block.

    Raises
    ------
    PathError
        The path leads out of its root, or its pattern can't be read.
    SourceError
        Nothing is there, or it is of no kind that is read.
    """
    pattern = pattern_of(path)
    kind = kind_by_name(str(path))
    if pattern.is_sequence:
        if kind.name == "clip":
            raise SourceError(
                "a clip can't be one file of a sequence",
                place=Place(file=str(path)),
                seen=pattern.text,
                expected="pictures with a number, or one clip without",
            )
        return SequenceSource(roots, path, pattern)
    file = path.folder.child(pattern.name(0))
    if kind.name == "clip":
        return ClipSource(roots, file)
    return StillSource(roots, file)


class SequenceSource(Source):
    """Stills, one file a number; the folder is scanned once, when first asked."""

    def __init__(self, roots: Roots, path: RootPath, pattern: FilePattern) -> None:
        self._roots = roots
        self._path = path
        self._pattern = pattern
        self._scan: Scan | None = None
        self._facts: Facts | None = None

    @property
    def scan(self) -> Scan:
        """What the folder held when it was first asked for."""
        if self._scan is None:
            self._scan = scan(self._roots, self._path)
        return self._scan

    @property
    def numbers(self) -> tuple[int, ...]:
        """Numbers that have a file, sorted."""
        return self.scan.numbers

    @property
    def facts(self) -> Facts:
        """Facts of the first file that is not empty."""
        if self._facts is None:
            files = self.scan.files
            first = next((n for n, found in files.items() if found.size), next(iter(files)))
            with self._roots.opened(self._file(first)) as descriptor:
                self._facts = still_facts(descriptor, str(self._file(first)))
        return self._facts

    def read(self, number: int) -> Codes:
        """Return the picture of `number`."""
        with self._roots.opened(self._file(number)) as descriptor:
            return read_still(descriptor, str(self._file(number)))

    def halves(self, number: int) -> Halves | None:
        """Return the planes of `number`'s picture where it holds plain half floats."""
        with self._roots.opened(self._file(number)) as descriptor:
            return read_halves(descriptor, str(self._file(number)))

    def ask_ahead(self, number: int, *, known: bool) -> bool:
        """Ask the system for the file; SourceError where it can't be opened."""
        with self._roots.opened(self._file(number)) as descriptor:
            wanted = known or not has_digest(descriptor)
            if wanted:
                ask_ahead(descriptor)
            return wanted

    def inspect(self, number: int) -> Facts:
        """Return the facts of one file after a look at its end."""
        return _inspect(self._roots, self._file(number))

    def file_name(self, number: int) -> str:
        """Return root and path of the file."""
        return str(self._file(number))

    def fingerprint(self, number: int) -> str:
        """Return the SHA-256 of the file's bytes."""
        with self._roots.opened(self._file(number)) as descriptor:
            return digest_of(descriptor)

    def close(self) -> None:
        """Nothing stays open between reads."""

    def _file(self, number: int) -> RootPath:
        return self._path.folder.child(self._pattern.name(number))


class StillSource(Source):
    """One still, the same for every number; it is decoded once."""

    def __init__(self, roots: Roots, path: RootPath) -> None:
        self._roots = roots
        self._path = path
        with roots.opened(path) as descriptor:
            self._facts = still_facts(descriptor, str(path))
        self._codes: Codes | None = None

    @property
    def numbers(self) -> None:
        """None: every number answers."""

    @property
    def facts(self) -> Facts:
        """Facts of the still."""
        return self._facts

    def close(self) -> None:
        """Nothing stays open between reads."""

    def read(self, number: int) -> Codes:
        """Return the picture; `number` makes no difference."""
        del number
        if self._codes is None:
            with self._roots.opened(self._path) as descriptor:
                self._codes = read_still(descriptor, str(self._path))
        if isinstance(self._codes, FloatPixels):
            # Linear floats are light as they are, and light is changed in place further on.
            return replace(self._codes, values=self._codes.values.copy())
        return self._codes

    def inspect(self, number: int) -> Facts:
        """Return the facts of the still after a look at its end."""
        del number
        return _inspect(self._roots, self._path)

    def file_name(self, number: int) -> str:
        """Return root and path of the file."""
        del number
        return str(self._path)

    def fingerprint(self, number: int) -> str:
        """Return the SHA-256 of the file's bytes."""
        del number
        with self._roots.opened(self._path) as descriptor:
            return digest_of(descriptor)


class ClipSource(Source):
    """Frames of one clip, counted from 0."""

    def __init__(self, roots: Roots, path: RootPath) -> None:
        self._roots = roots
        self._path = path
        self._clip = Clip(roots.open_file(path), str(path))

    @property
    def numbers(self) -> tuple[int, ...]:
        """0 to the last frame."""
        return tuple(range(self._clip.facts.count))

    @property
    def facts(self) -> Facts:
        """Facts of the clip."""
        return clip_as_facts(self._clip.facts)

    def read(self, number: int) -> Codes:
        """Return frame `number`."""
        return self._clip.read(number)

    def inspect(self, number: int) -> Facts:
        """Return the facts of the clip; opening it has looked at every packet."""
        del number
        return self.facts

    def file_name(self, number: int) -> str:
        """Return root and path of the clip, and the frame."""
        return f"{self._path} frame {number}"

    def fingerprint(self, number: int) -> str:
        """Return a digest of the clip's bytes and the number."""
        with self._roots.opened(self._path) as descriptor:
            digest = digest_of(descriptor)
        return hashlib.sha256(f"{digest} {number}".encode()).hexdigest()

    def close(self) -> None:
        """Close the clip."""
        self._clip.close()


def _inspect(roots: Roots, path: RootPath) -> Facts:
    with roots.opened(path) as descriptor:
        facts = still_facts(descriptor, str(path))
        check_whole(descriptor, str(path))
        return facts
