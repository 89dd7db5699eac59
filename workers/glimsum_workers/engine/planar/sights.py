"""What following a patch told of each frame."""

from dataclasses import dataclass

from glimsum_workers.engine.planar.homography import Matrix, PlaneModel


@dataclass(frozen=True)
class Sight:
    """Where a patch lies on one frame.

    Attributes
    ----------
    matrix : Matrix
        From the anchor frame to this one.
    sigma_px : float
        Standard error of the patch's corners, pixels an axis; 0 on a frame whose mark holds.
    trusted : bool
        Known well enough to be used.
    source : str
        How it is known: marked, followed, between neighbours, guessed.
    reason : str
        Why the patch was not found here; empty where it was.
    """

    matrix: Matrix
    sigma_px: float
    trusted: bool
    source: str
    reason: str = ""


@dataclass(frozen=True)
class MarkGap:
    """How far the mark of one frame lies from where the anchor's mark is followed to.

    Attributes
    ----------
    frame : int
    gaps_px : tuple of float
        By point of the mark, pixels.
    sigma_px : float
        How well that is known, pixels an axis.
    """

    frame: int
    gaps_px: tuple[float, ...]
    sigma_px: float


@dataclass(frozen=True)
class FollowedPatch:
    """The way of a patch through the shot.

    Attributes
    ----------
    anchor : int
        Frame the matrices start from: the first marked one.
    model : PlaneModel
        How freely the patch was let move.
    sights : dict of int to Sight
        By frame, every frame asked for.
    mark_gaps : tuple of MarkGap
        One for every further mark.
    """

    anchor: int
    model: PlaneModel
    sights: dict[int, Sight]
    mark_gaps: tuple[MarkGap, ...] = ()
