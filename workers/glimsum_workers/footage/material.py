"""The sources of one shot, opened when first needed and read by shot frame."""

from collections.abc import Mapping
from contextlib import suppress
from types import TracebackType
from typing import Self

from glimsum_jobs.errors import GlimsumError, SourceError
from glimsum_jobs.mattes import PictureMatte
from glimsum_jobs.measurements import Checked, FoundPass
from glimsum_jobs.paths import parse_root_path
from glimsum_jobs.problems import Place
from glimsum_jobs.shot import ShotJob
from glimsum_workers.engine.codes import Codes
from glimsum_workers.engine.laying import Halves
from glimsum_workers.frames.facts import Facts
from glimsum_workers.frames.roots import Roots
from glimsum_workers.frames.sources import Source, open_source


class Material:
    """Reads passes and picture mattes of a checked shot; a context manager that closes them.

    Parameters
    ----------
    job : ShotJob
        Every path in it is ``root:path``.
    checked : Checked
        What the check found: first numbers, stand-ins for missing files.
    roots : Roots
        Where this machine has the roots.

    Notes
    -----
    A clip keeps its decoder between frames, so frames are cheapest in order.
    """

    def __init__(self, job: ShotJob, checked: Checked, roots: Roots) -> None:
        self.job = job
        self.checked = checked
        self._roots = roots
        self._open: dict[tuple[str, str], Source] = {}
        self._asked: set[tuple[str, int]] = set()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close every source; one that is asked for again is opened again."""
        while self._open:
            _, source = self._open.popitem()
            source.close()

    def pass_codes(self, name: str, frame: int) -> Codes:
        """Read the codes of a pass on a shot frame; SourceError names shot, pass and frame."""
        place = Place(shot=self.job.shot, pass_name=name, frame=frame)
        files, number = self._pass_number(name, frame)
        return self._read(("pass", name), files, number, place)

    def pass_halves(self, name: str, frame: int) -> Halves | None:
        """Read a pass on a shot frame as planes of half floats; None where it holds other codes.

        None too where its file can't be read: `pass_codes` says why.
        """
        files, number = self._pass_number(name, frame)
        return self._halves(("pass", name), files, number)

    def ask_ahead(self, name: str, frame: int, *, known: bool = False) -> None:
        """Ask the system once for the file of a pass on a shot frame, to be read soon.

        Where not `known` only if its fingerprint isn't known: finding that reads the file. A
        clip is not asked for: it is read in order, which the system sees by itself. Where
        something is wrong with a file nothing happens: who reads it says what.
        """
        if (name, frame) in self._asked:
            return
        with suppress(GlimsumError, OSError):
            files, number = self._pass_number(name, frame)
            if self._source(("pass", name), files).ask_ahead(number, known=known):
                self._asked.add((name, frame))

    def pass_fingerprint(self, name: str, frame: int) -> str:
        """Return the digest of the bytes that hold a pass on a shot frame."""
        files, number = self._pass_number(name, frame)
        return self._source(("pass", name), files).fingerprint(number)

    def alignment_codes(self, name: str) -> Codes:
        """Read the codes of the alignment frame of a pass."""
        place = Place(shot=self.job.shot, pass_name=name)
        return self._read(("alignment", name), self._alignment_file(name), 0, place)

    def alignment_fingerprint(self, name: str) -> str:
        """Return the digest of the bytes of the alignment frame of a pass."""
        return self._source(("alignment", name), self._alignment_file(name)).fingerprint(0)

    def _alignment_file(self, name: str) -> str:
        told = self.job.passes[name].alignment
        if told is None:
            raise SourceError(
                f"pass {name} has no alignment frame",
                place=Place(shot=self.job.shot, pass_name=name),
                seen="no alignment_frame",
                expected="a pass with alignment_frame",
            )
        return told.file

    def pass_facts(self, name: str, frame: int) -> Facts:
        """Return what the file of a pass on a shot frame says of itself."""
        files, number = self._pass_number(name, frame)
        return self._source(("pass", name), files).inspect(number)

    def matte_codes(self, name: str, frame: int) -> Codes:
        """Read the codes of a picture matte on a shot frame."""
        number, files = self._matte_number(name, frame)
        place = Place(shot=self.job.shot, frame=frame, field=f"mattes.{name}")
        return self._read(("matte", name), files, number, place)

    def matte_halves(self, name: str, frame: int) -> Halves | None:
        """Read a picture matte as planes of half floats; None as `pass_halves`."""
        number, files = self._matte_number(name, frame)
        return self._halves(("matte", name), files, number)

    def matte_fingerprint(self, name: str, frame: int) -> str:
        """Return the digest of the bytes that hold a picture matte on a shot frame."""
        number, files = self._matte_number(name, frame)
        return self._source(("matte", name), files).fingerprint(number)

    def file_numbers(self, name: str) -> list[int]:
        """Return the numbers of all files of a pass that count, in order; 0 for a still."""
        each = self.job.passes[name]
        numbers = self._source(("pass", name), each.files).numbers
        return [0] if numbers is None else [n for n in numbers if n not in set(each.skip)]

    def file_codes(self, name: str, number: int) -> Codes:
        """Read one file of a pass by its own number (darks and ambients are averaged whole)."""
        place = Place(shot=self.job.shot, pass_name=name)
        return self._read(("pass", name), self.job.passes[name].files, number, place)

    def file_fingerprint(self, name: str, number: int) -> str:
        """Return the digest of the bytes of one file of a pass by its own number."""
        return self._source(("pass", name), self.job.passes[name].files).fingerprint(number)

    def _pass_number(self, name: str, frame: int) -> tuple[str, int]:
        """Return the files of a pass, and the number of the one that stands for a shot frame."""
        each = self.job.passes[name]
        found = self._found(self.checked.passes, "pass", name)
        number = each.number(frame, shot_first=self.job.frames.first, first=found.first)
        return each.files, found.replaced.get(number, number)

    def _matte_number(self, name: str, frame: int) -> tuple[int, str]:
        matte = self.job.mattes[name]
        if not isinstance(matte, PictureMatte):
            raise SourceError(
                f"matte {name} has no files of its own",
                place=Place(shot=self.job.shot, frame=frame, field=f"mattes.{name}"),
                seen="a matte from a silhouette pass",
                expected="a matte with files",
            )
        found = self._found(self.checked.mattes, "matte", name)
        number = matte.number(frame, shot_first=self.job.frames.first, first=found.first)
        return found.replaced.get(number, number), matte.files

    def _found(self, among: Mapping[str, FoundPass], kind: str, name: str) -> FoundPass:
        if name not in among:
            raise SourceError(
                f"{kind} {name} was not checked",
                place=Place(shot=self.job.shot, field=f"{kind}s.{name}"),
                seen=", ".join(sorted(among)) or f"no {kind}",
                expected=name,
                remedy="Check the shot again.",
            )
        return among[name]

    def _source(self, key: tuple[str, str], files: str) -> Source:
        if key not in self._open:
            self._open[key] = open_source(self._roots, parse_root_path(files))
        return self._open[key]

    def _halves(self, key: tuple[str, str], files: str, number: int) -> Halves | None:
        try:
            return self._source(key, files).halves(number)
        except SourceError:
            return None

    def _read(self, key: tuple[str, str], files: str, number: int, place: Place) -> Codes:
        try:
            return self._source(key, files).read(number)
        except SourceError as error:
            known = place.model_dump(exclude_none=True)
            error.place = error.place.filled(**known)
            raise
