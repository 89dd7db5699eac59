"""The files of elements or inserts, opened when first needed and read by shot frame."""

from collections.abc import Mapping
from typing import Any, Literal

from glimsum_jobs.errors import SourceError
from glimsum_jobs.laid_files import LaidFiles
from glimsum_jobs.measurements import FoundElement
from glimsum_jobs.paths import parse_root_path
from glimsum_jobs.problems import Place
from glimsum_jobs.shot import ShotJob
from glimsum_workers.engine.codes import Codes
from glimsum_workers.frames.roots import Roots
from glimsum_workers.frames.sources import Source, open_source


class LaidPictures:
    """Reads what is laid into a shot from outside its passes.

    Parameters
    ----------
    job : ShotJob
        Every path in it is ``root:path``.
    kind : {"insert", "element"}
        For messages.
    laid : mapping of str to LaidFiles
        The job's inserts or elements.
    found : mapping of str to FoundElement
        What the check found of them.
    roots : Roots
        Where this machine has the roots.
    """

    def __init__(
        self,
        job: ShotJob,
        kind: Literal["insert", "element"],
        laid: Mapping[str, LaidFiles],
        found: Mapping[str, FoundElement],
        roots: Roots,
    ) -> None:
        self._job = job
        self._kind = kind
        self._laid = laid
        self._known = found
        self._roots = roots
        self._open: dict[str, Source] = {}

    def close(self) -> None:
        """Close the sources; one that is asked for again is opened again."""
        while self._open:
            _, source = self._open.popitem()
            source.close()

    def number(self, name: str, frame: int) -> int:
        """Return the number of the file that stands on a shot frame."""
        found = self.found(name)
        return self._laid[name].number(
            frame, shot_first=self._job.frames.first, first=found.first, last=found.last
        )

    def codes(self, name: str, frame: int) -> Codes:
        """Read the codes on a shot frame; SourceError names shot, frame and field."""
        try:
            return self._source(name).read(self.number(name, frame))
        except SourceError as error:
            error.place = error.place.filled(**self.place(name, frame))
            raise

    def fingerprint(self, name: str, frame: int) -> str:
        """Return the digest of the bytes that stand on a shot frame."""
        return self._source(name).fingerprint(self.number(name, frame))

    def found(self, name: str) -> FoundElement:
        """Return what the check found; SourceError where it did not look."""
        if name not in self._known:
            raise SourceError(
                f"{self._kind} {name} was not checked",
                place=Place(shot=self._job.shot, field=f"{self._kind}s.{name}"),
                seen=", ".join(sorted(self._known)) or f"no {self._kind}",
                expected=name,
                remedy="Check the shot again.",
            )
        return self._known[name]

    def place(self, name: str, frame: int) -> dict[str, Any]:
        """Return where messages say something is wrong."""
        return {"shot": self._job.shot, "frame": frame, "field": f"{self._kind}s.{name}"}

    def _source(self, name: str) -> Source:
        if name not in self._open:
            self._open[name] = open_source(self._roots, parse_root_path(self._laid[name].files))
        return self._open[name]
