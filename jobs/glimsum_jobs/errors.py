"""Every error this project raises on purpose, as one tree.

GlimsumError
├── JobError         the job itself can't be used (carries all its problems)
├── SourceError      a picture, clip or sequence can't be read as stated
├── LightError       numbers that make no light (NaN gain, impossible exposure)
├── OutputError      a master, preview, movie or kept file can't be written whole
├── PathError        a path leaves its root or is not a plain path
├── StoreError       the ledger can't be reached or answers what it must not
└── LeaseLost        this worker no longer holds the frame; nothing may be written
"""

from collections.abc import Sequence

from glimsum_jobs.problems import Place, Problem, Rank


class GlimsumError(Exception):
    """Base of every error raised on purpose.

    Parameters
    ----------
    what : str
        What is wrong, as the start of a sentence.
    place : Place, optional
        Where: shot, pass, frame, file, field, line.
    seen, expected : str, optional
        The value met and the value that would have been right.
    remedy : str, optional
        What the reader can do, as a sentence.
    """

    def __init__(
        self,
        what: str,
        *,
        place: Place | None = None,
        seen: str = "",
        expected: str = "",
        remedy: str = "",
    ) -> None:
        self.what = what
        self.place = place or Place()
        self.seen = seen
        self.expected = expected
        self.remedy = remedy
        super().__init__(what)

    def problem(self, rank: Rank = Rank.STOPS_SHOT, **known: object) -> Problem:
        """Return this error as a problem; `known` fills parts of the place not yet known."""
        return Problem(
            rank=rank,
            what=self.what,
            place=self.place.filled(**known),
            seen=self.seen,
            expected=self.expected,
            remedy=self.remedy,
        )

    def __str__(self) -> str:
        """Read as the problem does, without its rank."""
        return str(self.problem()).removeprefix(f"{Rank.STOPS_SHOT}: ")


class JobError(GlimsumError):
    """The job can't be used; `problems` holds everything found, not only the first."""

    def __init__(self, what: str, problems: Sequence[Problem]) -> None:
        super().__init__(what)
        self.problems = list(problems)

    def __str__(self) -> str:
        """Read as one line a problem."""
        return "\n".join([self.what, *(f"  {problem}" for problem in self.problems)])


class SourceError(GlimsumError):
    """A picture, clip or sequence can't be read as the job states it."""


class LightError(GlimsumError):
    """A number given to the light makes no sense."""


class OutputError(GlimsumError):
    """An output can't be written whole; nothing half written is left in its place."""


class PathError(GlimsumError):
    """A path leaves its root, or holds what no plain path holds."""


class StoreError(GlimsumError):
    """The ledger can't be reached, or its answer breaks a rule of the ledger."""


class LeaseLost(GlimsumError):
    """The frame is no longer this worker's: stop, and write nothing."""
