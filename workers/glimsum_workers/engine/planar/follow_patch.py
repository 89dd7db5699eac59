"""A patch of the reference followed through the shot from the frames it was marked on."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.planar.agree_frames import Agreed, agree_frames
from glimsum_workers.engine.planar.gaps import Gaps, nearest_two
from glimsum_workers.engine.planar.homography import (
    FREEDOMS,
    Matrix,
    PlaneModel,
    Points,
    carry,
    freest_model,
    inverse,
    map_through,
    normed,
)
from glimsum_workers.engine.planar.outline import ring_about
from glimsum_workers.engine.planar.search_frames import STILL, FrameSearch, Pictures, Walk
from glimsum_workers.engine.planar.sights import FollowedPatch, MarkGap, Sight
from glimsum_workers.engine.planar.template import MOST_SIGMA_PX, is_found, why_lost

_MODELS: tuple[PlaneModel, ...] = ("homography", "affine", "similarity", "shift")
_GOOD_SIGMA_PX = 0.2
"""A model that leaves the corners less sure than this gives way to one with fewer numbers."""
_TRIED = 4
"""Frames about the anchor that say how much the patch can tell."""
_FLAT = 1.6
"""Detail over noise below which a patch is called flat."""
_HAND_PX = 0.05
"""Doubt every followed frame is given beside its own, so that blends stay even."""


def follow_patch(
    pictures: Pictures,
    frames: Sequence[int],
    marks: Mapping[int, Points],
    *,
    model: PlaneModel | None = None,
    radius_px: float | None = None,
    same_places: bool = True,
) -> FollowedPatch:
    """Follow a flat patch through a shot.

    Parameters
    ----------
    pictures : Pictures
        Gives the prepared reference (`registration.prepared.prepare`) on a shot frame.
    frames : sequence of int
        Shot frames in rising order.
    marks : mapping of int to Points
        Points marked by hand, by frame, pixels of the full picture: the corners of an outline, or
        single points with a radius. As many on every frame where `same_places` holds.
    model : PlaneModel, optional
        Default: the freest that leaves the corners known to 0.2 pixel; about a point with a
        radius a similarity at most, for what is laid on there may reach further than the patch.
    radius_px : float, optional
        How far about the middle of the points the patch reaches; default: the points are its
        outline.
    same_places : bool
        True: points of all marks are the same places of the set, and on a marked frame the mark
        holds. False: further marks are outlines drawn anew; the first one alone is followed.

    Returns
    -------
    FollowedPatch
        Every frame of `frames`. Corners of a board of 100 x 50 pixels in a compressed film of a
        moving camera, a boom and a rope before it: 0.05 pixel rms a axis, 0.2 at most.

    Raises
    ------
    LightError
        No marked frame has a picture; the patch is flat; or no other frame shows it.

    Notes
    -----
    Each frame is searched from the nearest marked one outward, against the patch as it was
    marked, never against its neighbour, so that errors don't add up. Then one patch is made of
    all frames and each frame is found again on it. Where marks differ from what is followed,
    frames between two marks lie between both, nearer to the nearer and to the surer.
    The patch has to be flat. On a made film it was followed to twice its size (0.25 pixel at
    most) and turned away by 60 degrees (0.13 pixel).
    """
    outlines = {f: _outline(points, radius_px) for f, points in sorted(marks.items())}
    alive = {f: each for f, each in outlines.items() if pictures(f) is not None}
    if not alive:
        raise LightError(
            "no marked frame has a picture",
            seen=f"marks on {', '.join(map(str, outlines))}",
            expected="a mark on a frame the reference has",
            remedy="Mark the patch on another frame.",
        )
    anchor = next(iter(alive))
    held = alive if same_places else {anchor: alive[anchor]}
    points = {f: np.asarray(marks[f], dtype=np.float64) for f in held}
    models = _MODELS if radius_px is None else _MODELS[2:]
    found = _look(pictures, frames, held, points, (model,) if model else models)
    return _Assembly(found, anchor, alive[anchor], points).over(frames)


def _outline(points: Points, radius_px: float | None) -> Points:
    points = np.asarray(points, dtype=np.float64)
    if radius_px is None:
        return points
    middle = points.mean(axis=0)
    return ring_about(float(middle[0]), float(middle[1]), radius_px)


@dataclass(frozen=True)
class _Found:
    walk: Walk
    agreed: Agreed
    model: PlaneModel


def _look(
    pictures: Pictures,
    frames: Sequence[int],
    outlines: Mapping[int, Points],
    points: Mapping[int, Points],
    models: Sequence[PlaneModel],
) -> _Found:
    """Look through the frames with the freest model that the patch can tell."""
    anchor = next(iter(outlines))
    beside = sorted((f for f in frames if f != anchor), key=lambda f: (abs(f - anchor), f))
    near = [f for f in beside if pictures(f) is not None][:_TRIED]
    chosen = models[-1]
    for model in models if near and len(models) > 1 else ():
        fits = _try(pictures, near, outlines, points, model)
        sigma = float(np.median([fits[f] for f in near if f in fits] or [np.inf]))
        if sigma <= _GOOD_SIGMA_PX:
            chosen = model
            break
    search = FrameSearch(pictures, outlines, points, chosen)
    walk = search.walk(sorted(frames))
    others = [f for f, fit in walk.fits.items() if is_found(fit)]
    if near and not others:
        raise _unfollowed(search.anchor_template.detail, anchor, near[0], walk)
    agreed = agree_frames(walk, anchor, outlines[anchor], FREEDOMS[chosen])
    return _Found(walk, agreed, chosen)


def _try(
    pictures: Pictures,
    near: Sequence[int],
    outlines: Mapping[int, Points],
    points: Mapping[int, Points],
    model: PlaneModel,
) -> dict[int, float]:
    """Return how well the frames next to the anchor tell the corners, as far as they do."""
    anchor = next(iter(outlines))
    search = FrameSearch(pictures, {anchor: outlines[anchor]}, points, model)
    walk = search.walk(sorted(near))
    return {f: fit.sigma_px if is_found(fit) else np.inf for f, fit in walk.fits.items()}


def _unfollowed(detail: float, anchor: int, beside: int, walk: Walk) -> LightError:
    if detail < _FLAT:
        return LightError(
            "the patch is too flat to be followed",
            seen=f"detail of {detail:.1f} times the noise on frame {anchor}",
            expected=f"at least {_FLAT} times: an edge, a texture or lettering in it",
            remedy="Mark a larger patch, or one with detail that lies on the same plane.",
        )
    why = why_lost(walk.fits[beside]) if beside in walk.fits else "no picture"
    return LightError(
        "the patch is found on no other frame",
        seen=f"frame {beside}, next to the marked frame {anchor}: {why}",
        expected="a flat patch that other frames show too",
        remedy="Mark it on a frame where nothing stands before it, or on more frames.",
    )


class _Assembly:
    """Sights of all frames made of what was found and of what was marked."""

    def __init__(
        self, found: _Found, anchor: int, outline: Points, points: Mapping[int, Points]
    ) -> None:
        self._found = found
        self._anchor = anchor
        self._points = points
        self._sigma = {f: fit.sigma_px for f, fit in found.agreed.fits.items()}
        back = inverse(found.agreed.matrix(anchor))
        self._from_anchor = {f: normed(fit.matrix @ back) for f, fit in found.agreed.fits.items()}
        self._gaps = Gaps(self._from_anchor, outline, found.model)
        self._blend_model: PlaneModel = freest_model(len(points[anchor]))

    def over(self, frames: Sequence[int]) -> FollowedPatch:
        sights = {frame: self._sight(frame) for frame in frames}
        others = [mark for mark in self._points if mark != self._anchor]
        gaps = tuple(self._gap(mark) for mark in others)
        return FollowedPatch(self._anchor, self._found.model, sights, gaps)

    def _sight(self, frame: int) -> Sight:
        moved, sigma, between = self._motion(frame)
        found = frame in self._from_anchor
        source = "followed" if found else "between neighbours" if between else "guessed"
        reason = ""
        if not found:
            fit = self._found.walk.fits.get(frame)
            reason = (
                "the reference has no picture here"
                if fit is None
                else (why_lost(fit) or "what is there differs from the patch of all frames")
            )
        before, after = nearest_two(sorted(self._points), frame)
        if frame in self._points:
            target = self._points[frame]
            matrix = STILL if frame == self._anchor else self._held(moved, target)
            return Sight(matrix, 0.0, trusted=True, source="marked", reason=reason)
        (one, doubt), (two, other) = self._pulled(before, frame), self._pulled(after, frame)
        early = abs(frame - before) * (doubt**2 + _HAND_PX**2)
        late = abs(after - frame) * (other**2 + _HAND_PX**2)
        share = 0.0 if before == after else early / (early + late)
        target = (1 - share) * one + share * two
        sigma = float(np.hypot((1 - share) * doubt, share * other))
        trusted = sigma <= MOST_SIGMA_PX and (found or between)
        return Sight(self._held(moved, target), sigma, trusted, source, reason)

    def _motion(self, frame: int) -> tuple[Matrix, float, bool]:
        """Return the way from the anchor to a frame, its doubt, and whether frames lie about it."""
        if frame in self._from_anchor:
            return self._from_anchor[frame], self._sigma[frame], True
        return self._gaps.lay(frame)

    def _pulled(self, mark: int, frame: int) -> tuple[Points, float]:
        """Return where the points of a mark are followed to on a frame, and the doubt of it."""
        moved, sigma, _ = self._motion(frame)
        if mark in self._from_anchor:
            start, own = self._from_anchor[mark], self._sigma[mark]
            return carry(normed(moved @ inverse(start)), self._points[mark]), float(
                np.hypot(sigma, own)
            )
        start = self._held(self._motion(mark)[0], self._points[mark])
        return carry(normed(moved @ inverse(start)), self._points[mark]), sigma

    def _held(self, moved: Matrix, target: Points) -> Matrix:
        """Return a motion changed so that the anchor's points come to lie on `target`."""
        laid = carry(moved, self._points[self._anchor])
        return normed(map_through(laid, target, self._blend_model) @ moved)

    def _gap(self, mark: int) -> MarkGap:
        pulled, sigma = self._pulled(self._anchor, mark)
        away = np.hypot(*(pulled - self._points[mark]).T)
        return MarkGap(mark, tuple(round(float(each), 3) for each in away), sigma)
