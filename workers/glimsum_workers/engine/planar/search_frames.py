"""A patch found frame by frame, outward from the frames it was marked on."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from glimsum_workers.engine.planar.fit import Fit
from glimsum_workers.engine.planar.homography import (
    FREEDOMS,
    Matrix,
    PlaneModel,
    Points,
    carry,
    inverse,
    map_through,
    normed,
)
from glimsum_workers.engine.planar.reading import Cutout, cut_about
from glimsum_workers.engine.planar.template import (
    MARGIN,
    Template,
    carried,
    find_template,
    is_found,
    lay_template,
)
from glimsum_workers.engine.registration.prepared import Prepared

Pictures = Callable[[int], Prepared | None]
"""Gives the prepared reference on a shot frame; None where there is none (a dead frame)."""

STILL = np.eye(3)


@dataclass
class Walk:
    """What looking through the frames left behind; matrices lead from the anchor frame.

    Attributes
    ----------
    fits : dict of int to Fit
        Of frames with a picture; the anchor is not among them.
    cutouts : dict of int to Cutout
        What was found there, at the finest size of the template.
    """

    fits: dict[int, Fit] = field(default_factory=dict)
    cutouts: dict[int, Cutout] = field(default_factory=dict)


class FrameSearch:
    """Finds a marked patch on the frames of a shot.

    Parameters
    ----------
    pictures : Pictures
    outlines : mapping of int to Points
        The outline on each marked frame that has a picture, the anchor first.
    points : mapping of int to Points
        The marked points themselves; empty beyond the anchor where marks on other frames do not
        mean the same places.
    model : PlaneModel
    """

    def __init__(
        self,
        pictures: Pictures,
        outlines: Mapping[int, Points],
        points: Mapping[int, Points],
        model: PlaneModel,
    ) -> None:
        self._pictures = pictures
        self._freedom = FREEDOMS[model]
        self._anchor = next(iter(outlines))
        self._outlines = outlines
        self._points = points
        self._templates: dict[int, tuple[Template, Matrix]] = {}
        self._on_marks: dict[int, Fit] = {}
        self._lay_templates()

    @property
    def anchor_template(self) -> Template:
        """Return the patch as the anchor frame shows it."""
        return self._templates[self._anchor][0]

    def _lay_templates(self) -> None:
        for frame, outline in self._outlines.items():
            picture = self._pictures(frame)
            if picture is None:
                continue
            to_mark = STILL
            if frame != self._anchor:
                to_mark = map_through(self._points[self._anchor], self._points[frame])
                fit = find_template(
                    self.anchor_template, picture, to_mark, self._freedom, widely=False
                )
                # Hand marks are good to a pixel: what is seen says better how the patch moved.
                to_mark = fit.matrix if is_found(fit) else to_mark
                self._on_marks[frame] = fit
            self._templates[frame] = lay_template(picture, outline), to_mark

    def walk(self, frames: Sequence[int]) -> Walk:
        """Find the patch on all frames, each from the nearest mark, outward from there."""
        walk = Walk()
        marked = sorted(self._templates)
        for start in marked:
            own = [f for f in frames if min(marked, key=lambda m: (abs(m - f), m)) == start]
            self._go(walk, start, [f for f in own if f > start])
            self._go(walk, start, [f for f in reversed(own) if f < start])
            self._stand(walk, start)
        return walk

    def _stand(self, walk: Walk, frame: int) -> None:
        """Enter what a marked frame itself shows."""
        picture = self._pictures(frame)
        if picture is None:
            return
        self._cut(walk, frame, picture, self._templates[frame][1])
        if frame in self._on_marks:
            walk.fits[frame] = self._on_marks[frame]

    def _go(self, walk: Walk, start: int, frames: list[int]) -> None:
        template, to_mark = self._templates[start]
        last, step, known = STILL, STILL, False
        seen_on = start
        for frame in frames:
            picture = self._pictures(frame)
            if picture is None:
                continue
            seed = normed(np.linalg.matrix_power(step, min(abs(frame - seen_on), 4)) @ last)
            fit = find_template(template, picture, seed, self._freedom, widely=not known)
            if known and not is_found(fit):
                wide = find_template(template, picture, last, self._freedom, widely=True)
                fit = wide if is_found(wide) else fit
            found = is_found(fit)
            if found:
                if abs(frame - seen_on) == 1:
                    step = normed(fit.matrix @ inverse(last))
                last, seen_on = fit.matrix, frame
            known = found
            walk.fits[frame] = carried(fit, to_mark)
            if found:
                self._cut(walk, frame, picture, walk.fits[frame].matrix)

    def _cut(self, walk: Walk, frame: int, picture: Prepared, matrix: Matrix) -> None:
        outline = carry(matrix, self.anchor_template.outline)
        walk.cutouts[frame] = cut_about(picture.levels[0], outline, 2 * MARGIN)
