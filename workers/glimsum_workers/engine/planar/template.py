"""A patch at all sizes of the picture, and how it is found in another picture from afar."""

from dataclasses import dataclass, replace

import numpy as np

from glimsum_workers.engine.planar.fit import Fit, fit_patch
from glimsum_workers.engine.planar.homography import Matrix, Points, carry, normed
from glimsum_workers.engine.planar.patch import MARGIN_PX, Patch, lay_patch
from glimsum_workers.engine.planar.reading import Cutout, cut_about
from glimsum_workers.engine.registration.bands import GENERAL
from glimsum_workers.engine.registration.prepared import Prepared
from glimsum_workers.engine.registration.taps import REACH

MARGIN = int(MARGIN_PX) + REACH + 1
"""Pixels of a level that are cut out about an outline to lay a patch."""
LEAST_SEEN = 0.35
"""Share of a patch's detail that a frame must show."""
LEAST_LIKE = 0.6
"""Correlation that what is shown must reach; noise and other places stay below 0.4 (measured)."""
MOST_SIGMA_PX = 0.3
_SEARCH = 14
_SEARCH_POINTS = 900
_LEAST_POINTS = 150
_COARSE_FREEDOM = 4


@dataclass(frozen=True)
class Template:
    """A patch at the sizes that show enough of it, finest first."""

    patches: tuple[Patch, ...]
    factors: tuple[int, ...]

    @property
    def outline(self) -> Points:
        """Return the corners of the patch on its own frame."""
        return self.patches[0].outline

    @property
    def detail(self) -> float:
        """Return the detail of the patch over the noise, both rms: 1 where there is noise alone."""
        return float(np.sqrt(self.patches[0].energy / GENERAL.noise))


def lay_template(picture: Prepared, outline: Points) -> Template:
    """Lay out a patch at every size of a picture that holds 150 points of it; the finest always.

    Parameters
    ----------
    picture : Prepared
        Of the frame the patch was marked on.
    outline : Points, (m, 2)
        Its corners, pixels of the full picture.

    Returns
    -------
    Template
    """
    patches: list[Patch] = []
    factors: list[int] = []
    for level in picture.levels:
        patch = lay_patch(cut_about(level, outline, MARGIN), outline)
        if patches and len(patch.values) < _LEAST_POINTS:
            break
        patches.append(patch)
        factors.append(level.factor)
    return Template(tuple(patches), tuple(factors))


def find_template(
    template: Template, picture: Prepared, seed: Matrix, freedom: int, *, widely: bool
) -> Fit:
    """Find a patch in a picture.

    Parameters
    ----------
    template : Template
    picture : Prepared
        Of the frame to look in.
    seed : Matrix
        Where the patch is expected: within a few pixels of the coarsest size.
    freedom : int
        2, 4, 6 or 8: see `fit.fit_patch`.
    widely : bool
        Whether to search first, up to 14 pixels of the coarsest size about the seed.

    Returns
    -------
    Fit
        At the finest size.
    """
    matrix = seed
    if widely:
        patch, level = template.patches[-1], picture.levels[len(template.patches) - 1]
        margin = _SEARCH + REACH + 1
        around = cut_about(level, carry(matrix, patch.outline), margin)
        matrix = _shifted(matrix, search_shift(patch, around, matrix))
    fit: Fit | None = None
    for index in range(len(template.patches) - 1, -1, -1):
        patch = template.patches[index]
        cutout = cut_about(picture.levels[index], carry(matrix, patch.outline), 2 * MARGIN)
        fit = fit_patch(
            patch, cutout, matrix, freedom if index == 0 else min(freedom, _COARSE_FREEDOM)
        )
        better = np.isfinite(fit.sigma_px) and fit.likeness > LEAST_LIKE / 2
        matrix = fit.matrix if better else matrix
    if fit is None:  # a template has at least its finest size
        raise AssertionError("a template without a patch")
    return fit


def search_shift(patch: Patch, cutout: Cutout, seed: Matrix) -> tuple[float, float]:
    """Return the shift, x and y in pixels of the full picture, that makes a patch most alike.

    Whole pixels of the level up to 14 each way are tried on up to 900 of the patch's steepest
    points; equal answers go to the shorter shift.
    """
    strongest = np.argsort(-np.abs(patch.values), kind="stable")[:_SEARCH_POINTS]
    x, y = cutout.places(carry(seed, patch.points[strongest]))
    column, row = np.rint(x).astype(np.intp), np.rint(y).astype(np.intp)
    values = patch.values[strongest].astype(np.float32)
    steps = np.arange(-_SEARCH, _SEARCH + 1)
    height, width = cutout.band.shape
    band = np.pad(np.asarray(cutout.band, dtype=np.float32), _SEARCH + 1)
    column = np.clip(column, 0, width - 1) + _SEARCH + 1
    row = np.clip(row, 0, height - 1) + _SEARCH + 1
    best, shift = -np.inf, (0.0, 0.0)
    for down in steps:
        here = band[row[None] + down, column[None] + steps[:, None]]
        own = np.sqrt(np.square(here).sum(axis=1)) + 1e-6
        alike = here @ values / own * (1 - 0.002 * np.hypot(steps, down))
        index = int(np.argmax(alike))
        if alike[index] > best:
            best = float(alike[index])
            shift = float(steps[index]), float(down)
    return shift[0] * cutout.factor, shift[1] * cutout.factor


def is_found(fit: Fit) -> bool:
    """Return whether a fit can be relied on: enough seen, alike, and its corners known."""
    return (
        bool(np.isfinite(fit.sigma_px))
        and fit.sigma_px <= MOST_SIGMA_PX
        and fit.seen >= LEAST_SEEN
        and fit.likeness >= LEAST_LIKE
    )


def why_lost(fit: Fit) -> str:
    """Return in words why a fit can't be relied on; empty where it can."""
    if is_found(fit):
        return ""
    if not np.isfinite(fit.sigma_px):
        return "nothing like the patch, or it has left the picture"
    if fit.seen < LEAST_SEEN:
        return f"only {100 * fit.seen:.0f} % of its detail is to be seen"
    if fit.likeness < LEAST_LIKE:
        return f"what is there is too little alike ({fit.likeness:.2f}, at least {LEAST_LIKE})"
    return f"its corners are known to {fit.sigma_px:.2f} px only (at most {MOST_SIGMA_PX})"


def carried(fit: Fit, before: Matrix) -> Fit:
    """Return a fit as it is from a frame before the patch's own: `before` leads to that."""
    return replace(fit, matrix=normed(fit.matrix @ before))


def _shifted(matrix: Matrix, shift: tuple[float, float]) -> Matrix:
    moved = np.eye(3)
    moved[:2, 2] = shift
    return normed(moved @ matrix)
