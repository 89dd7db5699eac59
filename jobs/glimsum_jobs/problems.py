"""What is wrong, where, what was seen, what was expected, and what to do: one value."""

from enum import StrEnum
from typing import Self

from pydantic import BaseModel, ConfigDict


class Rank(StrEnum):
    """How much a problem stops."""

    STOPS_SHOT = "stops the shot"
    STOPS_FRAME = "stops a frame"
    REMARK = "remark"


class Place(BaseModel):
    """Where a problem stands; every part is optional and only known parts are shown."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    shot: str | None = None
    pass_name: str | None = None
    frame: int | None = None
    file: str | None = None
    field: str | None = None
    """Path inside the job, for example ``passes.haze.exposure``."""
    line: int | None = None
    """Line in the job file, counted from 1."""
    column: int | None = None
    """Column in the job file, counted from 1."""

    def filled(self, **known: object) -> Self:
        """Return a copy in which the parts that are still unknown take the values of `known`."""
        missing = {name: value for name, value in known.items() if getattr(self, name) is None}
        return self.model_copy(update=missing)

    def __str__(self) -> str:
        """Read as ``shot mole_040, pass haze, frame 1004, haze.0104.jpg, line 12 column 5``."""
        parts = [
            ("shot", self.shot),
            ("pass", self.pass_name),
            ("frame", self.frame),
            ("file", self.file),
            ("field", self.field),
        ]
        words = [f"{name} {value}" for name, value in parts if value is not None]
        if self.line is not None:
            words.append(f"line {self.line}, column {self.column}")
        return ", ".join(words)


class Problem(BaseModel):
    """One problem of a job or of its files, in words a person can act on."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    rank: Rank
    what: str
    place: Place = Place()
    seen: str = ""
    expected: str = ""
    remedy: str = ""

    def __str__(self) -> str:
        """Read as one sentence: rank, place, what, seen, expected, remedy."""
        text = f"{self.rank}: {self.what}"
        if str(self.place):
            text += f" ({self.place})"
        if self.seen or self.expected:
            text += f"; seen: {self.seen or 'nothing'}; expected: {self.expected or 'nothing'}"
        if self.remedy:
            text += f". {self.remedy}"
        return text


def stops_shot(problems: list[Problem]) -> list[Problem]:
    """Return the problems that refuse the whole shot, in their order."""
    return [problem for problem in problems if problem.rank is Rank.STOPS_SHOT]


def stopped_frames(problems: list[Problem]) -> set[int]:
    """Return the numbers of the shot frames that are set aside by `problems`."""
    return {
        problem.place.frame
        for problem in problems
        if problem.rank is Rank.STOPS_FRAME and problem.place.frame is not None
    }
