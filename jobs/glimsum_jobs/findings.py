"""Problems of one job collected with their places in the file."""

from glimsum_jobs.errors import GlimsumError
from glimsum_jobs.problems import Problem, Rank
from glimsum_jobs.schema_problems import Path, Positions, place_of


class Findings:
    """Collects problems of one job with their places."""

    def __init__(self, positions: Positions, shot: str | None) -> None:
        self._positions = positions
        self._shot = shot
        self.problems: list[Problem] = []

    def add(
        self,
        path: Path,
        what: str,
        *,
        seen: str,
        expected: str,
        remedy: str,
        rank: Rank = Rank.STOPS_SHOT,
    ) -> None:
        """Add one problem found at `path`."""
        place = place_of(path, self._positions, self._shot)
        self.problems.append(
            Problem(rank=rank, what=what, place=place, seen=seen, expected=expected, remedy=remedy)
        )

    def add_error(self, path: Path, error: GlimsumError, rank: Rank = Rank.STOPS_SHOT) -> None:
        """Add an error raised while looking at the value at `path`."""
        place = place_of(path, self._positions, self._shot)
        self.problems.append(error.problem(rank, **place.model_dump(exclude_none=True)))
