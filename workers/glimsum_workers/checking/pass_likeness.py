"""How much a file of a pass shares with the reference on a frame, whichever file that may be."""

from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import replace
from types import TracebackType
from typing import Self

import numpy as np

from glimsum_jobs.errors import SourceError
from glimsum_jobs.paths import parse_root_path
from glimsum_jobs.shot import ShotJob
from glimsum_workers.engine.metrics import block_means
from glimsum_workers.engine.registration.bands import halve_mask
from glimsum_workers.engine.registration.prepared import Prepared, prepare
from glimsum_workers.engine.registration.register import register
from glimsum_workers.engine.sync.information import mutual_information
from glimsum_workers.footage.digests import digest_of
from glimsum_workers.footage.recorded import decode_plane
from glimsum_workers.frames.identities import Remembered
from glimsum_workers.frames.kept import Keep
from glimsum_workers.frames.roots import Roots
from glimsum_workers.frames.sources import Source, open_source

LIKENESS_EPOCH = 1
"""Raised whenever comparing the same files gives other numbers."""
_MOST_PIXELS = 1_000_000
"""A larger picture is halved: the start of a pass shows in detail of a few pixels too."""
_FIRST_LOOK_PIXELS = 150_000
"""A first look takes the largest level of a picture below this."""
_PICTURES = 48
"""Prepared pictures that are remembered: 250 MB where all have a million pixels."""


class Likeness:
    """Compares files of the passes of one shot with its reference; a context manager.

    Parameters
    ----------
    job : ShotJob
        Every path in it is ``root:path``.
    roots : Roots
        Where this machine has the roots.
    keep : Keep or None
        Where scores are kept, so that a pass is compared once for all versions.
    still_wanted : callable
        Asked before each picture; what it raises (LeaseLost) ends the work.
    """

    def __init__(
        self, job: ShotJob, roots: Roots, keep: Keep | None, still_wanted: Callable[[], object]
    ) -> None:
        self._job = job
        self._roots = roots
        self._keep = keep
        self._still_wanted = still_wanted
        self._sources: dict[str, Source] = {}
        self._open = ExitStack()
        self._prepared = Remembered[tuple[str, int], Prepared](_PICTURES)
        self._scores: dict[str, float] = {}

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._open.close()

    def source(self, name: str) -> Source:
        """Return what a pass is read from; SourceError and PathError where nothing is there."""
        if name not in self._sources:
            path = parse_root_path(self._job.passes[name].files)
            self._sources[name] = self._open.enter_context(open_source(self._roots, path))
        return self._sources[name]

    def number(self, name: str, frame: int, offset: int) -> int:
        """Return the file number of a pass on a shot frame if it started `offset` files early."""
        each = self._job.passes[name].model_copy(update={"start_offset": offset})
        numbers = self.source(name).numbers
        first = each.first if each.first is not None else (numbers[0] if numbers else 0)
        return each.number(frame, shot_first=self._job.frames.first, first=first)

    def has(self, name: str, frame: int, offset: int) -> bool:
        """Return whether a pass has a file for a shot frame at an offset."""
        numbers = self.source(name).numbers
        return numbers is None or self.number(name, frame, offset) in self._numbers(name)

    def score(self, name: str, frame: int, offset: int, whole: bool) -> float:
        """Return what a pass at an offset shares with the reference, nats a tile.

        Parameters
        ----------
        name : str
            The pass.
        frame : int
            Shot frame.
        offset : int
            Files by which the pass is taken to have started early.
        whole : bool
            False: a first look, at a smaller size.

        Returns
        -------
        float
            From `information.mutual_information` after the best shift: a pass seen from elsewhere
            may differ in size and rotation too, which no offset should make good. NaN where a
            file is not there or can't be read (the check names it).

        Raises
        ------
        LightError
            The pass and the reference differ in size.
        """
        reference = self._job.reference_pass
        still = self.number(reference, frame, self._job.passes[reference].stated_offset)
        moving = self.number(name, frame, offset)
        if still not in self._numbers(reference) or moving not in self._numbers(name):
            return np.nan
        try:
            key = digest_of(
                self._picture_key(reference, still), self._picture_key(name, moving), whole
            )
            if key not in self._scores:
                one, other = self._picture(reference, still), self._picture(name, moving)
                if not whole:
                    one, other = _coarser(one), _coarser(other)
                motion = register(one, other, model="shift").motion
                self._scores[key] = mutual_information(one, other, motion)
        except SourceError:
            return np.nan
        return self._scores[key]

    def recall(self, name: str) -> None:
        """Take up the scores that are kept of a pass."""
        kept = None if self._keep is None else self._keep.get(self._key(name))
        if kept is not None:
            told = zip(kept["keys"].tolist(), kept["scores"].tolist(), strict=True)
            self._scores |= {str(key): float(score) for key, score in told}

    def remember(self, name: str) -> None:
        """Keep the scores of a pass."""
        if self._keep is not None and self._scores:
            self._keep.put(
                self._key(name),
                keys=np.array(list(self._scores)),
                scores=np.array(list(self._scores.values())),
            )
        self._scores = {}

    def _key(self, name: str) -> str:
        files = [self._job.passes[each].files for each in (self._job.reference_pass, name)]
        return digest_of("likeness", LIKENESS_EPOCH, files)

    def _numbers(self, name: str) -> range | frozenset[int]:
        numbers = self.source(name).numbers
        return range(10**9) if numbers is None else frozenset(numbers)

    def _picture_key(self, name: str, number: int) -> str:
        each = self._job.passes[name]
        return digest_of(
            self.source(name).fingerprint(number),
            each.space,
            each.range,
            each.crop and each.crop.model_dump(),
        )

    def _picture(self, name: str, number: int) -> Prepared:
        return self._prepared.recall((name, number), lambda: self._prepare(name, number))

    def _prepare(self, name: str, number: int) -> Prepared:
        self._still_wanted()
        plane, clipped = decode_plane(self._job.passes[name], self.source(name).read(number))
        while plane.size > _MOST_PIXELS:
            plane, clipped = block_means(plane, 2), ~halve_mask(~clipped)
        return prepare(plane, clipped=clipped)


def _coarser(picture: Prepared) -> Prepared:
    levels = picture.levels
    while len(levels) > 1 and levels[0].band.size > _FIRST_LOOK_PIXELS:
        levels = levels[1:]
    return replace(picture, levels=levels)
