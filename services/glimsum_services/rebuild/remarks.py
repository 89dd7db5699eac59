"""What a rebuild has to remark: versions left out, and why; lines that were lost."""

from collections.abc import Sequence

from glimsum_jobs.orders import RunOrder
from glimsum_jobs.problems import Place, Problem, Rank
from glimsum_services.version_disk import LINES, Lines


def was_asked_again(order: RunOrder, orders: Sequence[RunOrder]) -> bool:
    """Return whether a later version was made from the very same job.

    That is so only where this one was on the disk, the ledger did not have it yet, and the
    person, who got no answer, submitted again.
    """
    return any(
        other.shot == order.shot
        and other.job_digest == order.job_digest
        and other.version > order.version
        for other in orders
    )


def never_taken(order: RunOrder) -> Problem:
    """Name a version that is left out because its job was submitted again."""
    return Problem(
        rank=Rank.REMARK,
        what="nothing was ever made in this version, and its job was submitted again",
        place=Place(shot=order.shot, file=order.folder),
        seen=f"no line in {LINES}",
        expected="a version that was worked on",
        remedy="Nothing to do: the later version stands. The empty folder may be deleted.",
    )


def twice(order: RunOrder, known: RunOrder) -> Problem:
    """Name a second folder of one run."""
    return Problem(
        rank=Rank.REMARK,
        what=f"{order.run} stands twice",
        place=Place(shot=order.shot, file=order.folder),
        seen=f"{order.folder}, made {order.made}",
        expected=f"{known.folder} alone, made {known.made}",
        remedy="The older one is restored; submit the other job again as a new version.",
    )


def torn(order: RunOrder, left: Lines) -> list[Problem]:
    """Name the files that hold half a line."""
    return [
        Problem(
            rank=Rank.REMARK,
            what="a line can't be read: a worker died in the middle of it",
            place=Place(shot=order.shot, file=f"{order.folder}/{LINES}/{name}"),
            seen="half a line",
            expected="a line for each finished item",
            remedy="Nothing to do: what it stood for is made again.",
        )
        for name in left.torn
    ]


def unusable(order: RunOrder, error: Exception) -> Problem:
    """Name a version that is left out because it can't be read."""
    return Problem(
        rank=Rank.REMARK,
        what=f"{order.run} can't be restored",
        place=Place(shot=order.shot, file=order.folder),
        seen=str(error).partition("\n")[0],
        expected="what this release leaves behind",
        remedy="Submit the shot again; it becomes the next version.",
    )
