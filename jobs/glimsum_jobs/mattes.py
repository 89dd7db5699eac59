"""Mattes: weight pictures 0..1 that say where a step counts."""

from typing import Annotated, Literal

from pydantic import Field

from glimsum_jobs.frame_ranges import FrameNumber, source_number
from glimsum_jobs.passes import Level, Name, Strict


class PictureMatte(Strict):
    """A matte in files of its own: the alpha channel if there is one, else luminance."""

    files: Annotated[str, Field(min_length=1, max_length=1024)]
    first: FrameNumber | None = None
    step: Annotated[int, Field(ge=1, le=1000, strict=True)] = 1
    start_offset: Annotated[int, Field(ge=-100_000, le=100_000, strict=True)] = 0
    range: Literal["limited", "full"] | None = None
    """Range of the codes of a clip; asked for where the matte is one."""
    invert: bool = False

    @property
    def pass_names(self) -> tuple[str, ...]:
        """Return the passes the matte is made of."""
        return ()

    @property
    def silhouette_names(self) -> tuple[str, ...]:
        """Return those of its passes that were lit for the matte alone."""
        return ()

    @property
    def matte_names(self) -> tuple[str, ...]:
        """Return the mattes the matte is made of."""
        return ()

    def number(self, frame: int, *, shot_first: int, first: int) -> int:
        """Return the file number of a shot frame, `first` resolved."""
        return source_number(
            frame,
            shot_first=shot_first,
            first=first,
            step=self.step,
            skip=frozenset(),
            start_offset=self.start_offset,
        )


class BackingMatte(Strict):
    """A matte from a silhouette pass: coverage = 1 - S / W, both without dark and ambient."""

    pass_name: Annotated[Name, Field(alias="pass")]
    """The silhouette S: set dark, backing lit."""
    empty: Name | Level
    """The lit backing W without the set: a pass with ``use: empty_backing``, or its level."""
    invert: bool = False

    @property
    def pass_names(self) -> tuple[str, ...]:
        """Return the passes the matte is made of."""
        return (self.pass_name, *([self.empty] if isinstance(self.empty, str) else []))

    @property
    def silhouette_names(self) -> tuple[str, ...]:
        """Return those of its passes that were lit for the matte alone."""
        return self.pass_names

    @property
    def matte_names(self) -> tuple[str, ...]:
        """Return the mattes the matte is made of."""
        return ()


Matte = PictureMatte | BackingMatte
