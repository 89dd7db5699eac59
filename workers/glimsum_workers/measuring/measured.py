"""What measuring left behind, whatever measured it: gathered for solving."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from glimsum_jobs.follows import Followed
from glimsum_jobs.measurements import Averaged, Sampled
from glimsum_jobs.plan import ALIGN, AVERAGE, FOLLOW, SAMPLE, TRACK
from glimsum_jobs.tracks import Aligned, Tracked

Result = Averaged | Sampled | Tracked | Aligned | Followed

_FORMS: dict[str, type[Result]] = {
    AVERAGE: Averaged,
    SAMPLE: Sampled,
    TRACK: Tracked,
    ALIGN: Aligned,
    FOLLOW: Followed,
}


@dataclass
class Measured:
    """What measuring left behind; an item that was set aside is missing here."""

    averaged: list[Averaged] = field(default_factory=list)
    sampled: list[Sampled] = field(default_factory=list)
    tracked: list[Tracked] = field(default_factory=list)
    aligned: list[Aligned] = field(default_factory=list)
    followed: list[Followed] = field(default_factory=list)

    def add(self, result: Result) -> None:
        """Add what one item left behind."""
        match result:
            case Averaged():
                self.averaged.append(result)
            case Sampled():
                self.sampled.append(result)
            case Tracked():
                self.tracked.append(result)
            case Aligned():
                self.aligned.append(result)
            case Followed():
                self.followed.append(result)


def read_measured(results: Iterable[tuple[str, Mapping[str, Any]]]) -> Measured:
    """Return what items left behind in the ledger: pairs of item and its JSON values."""
    measured = Measured()
    for item, result in results:
        measured.add(_FORMS[item.partition(":")[0]].model_validate(result))
    return measured
