"""The lit backing behind a set, found from the silhouette itself: a smooth robust surface."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.codes import Image, Plane
from glimsum_workers.engine.robust import biweight, weighted_median, weighted_sigma

_BLOCK = 8
_LIT = 0.5
"""Share of the brightest blocks above which a block may be backing."""
_EVEN = 0.05
"""Standard deviation of a block over its mean above which it shows an edge."""
_FEWEST = 12
_TERMS = ((60, 6), (12, 3), (0, 1))
"""Lit blocks from which on a surface has so many terms: quadratic, plane, level."""


@dataclass(frozen=True)
class Backing:
    """A backing as it would look without the set.

    Attributes
    ----------
    light : Plane, (height, width)
        Mean of R, G and B, scene-linear.
    sigma : float
        How far lit blocks of 8 x 8 pixels lie off the surface, robust standard deviation, as a
        share of the light there. What is behind the set is farther off if its light is not
        smooth there.
    lit_share : float
        Share of the picture the surface was laid through, 0..1.
    """

    light: Plane
    sigma: float
    lit_share: float


def find_backing(silhouette: Image) -> Backing:
    """Find the backing behind a set from what the silhouette shows of it.

    Parameters
    ----------
    silhouette : Image, (height, width, 3)
        The set dark, the backing lit; scene-linear, without dark and ambient.

    Returns
    -------
    Backing
        A surface of second order in x and y (a plane or a level where less than 60 or 12 blocks
        of 8 x 8 pixels are lit), laid by Tukey's biweight through the even blocks above half of
        the brightest; held between 0.8 times the least and 1.25 times the largest light it was
        laid through, so that it stays a backing where it is not seen.

    Raises
    ------
    LightError
        If fewer than 12 blocks show an even lit backing.

    Notes
    -----
    Fails where a large even part of the set is more than half as bright as the backing: shoot
    the empty backing then.
    """
    mean = silhouette.mean(axis=2)
    light, spread, places = _blocks(mean)
    top = float(np.percentile(light, 99)) if light.size else 0.0
    lit = (light > _LIT * top) & (spread <= _EVEN * np.maximum(light, 0)) & (light > 0)
    if np.count_nonzero(lit) < _FEWEST:
        raise LightError(
            "No lit backing is seen in the silhouette",
            seen=f"{np.count_nonzero(lit)} even blocks of 8 x 8 pixels above half of {top:.3g}",
            expected=f"{_FEWEST} at least",
            remedy="Shoot the empty backing and name it with `empty`, or state its level.",
        )
    seen, at = light[lit], places[lit]
    terms = next(count for fewest, count in _TERMS if seen.size >= fewest)
    parts = _surface(at, mean.shape, terms)
    solved, sigma = _fit(parts, seen)
    laid = np.clip(_lay(solved, mean.shape), 0.8 * seen.min(), 1.25 * seen.max())
    return Backing(laid.astype(np.float32), sigma, float(np.count_nonzero(lit)) / light.size)


def _fit(
    parts: NDArray[np.float64], seen: NDArray[np.float64]
) -> tuple[NDArray[np.float64], float]:
    """Return the surface and the relative spread about it; starts from the brighter half."""
    solved: NDArray[np.float64] = np.zeros(parts.shape[1])
    solved[0] = weighted_median(seen, (seen >= np.median(seen)).astype(np.float64))
    sigma = 0.1
    for _ in range(12):
        off = seen / (parts @ solved) - 1
        weight = biweight(off, max(sigma, 1e-6))
        root = np.sqrt(weight)
        solved = np.asarray(
            np.linalg.lstsq(parts * root[:, None], seen * root, rcond=None)[0], dtype=np.float64
        )
        off = seen / (parts @ solved) - 1
        sigma = weighted_sigma(off, weight + 1e-12)
    return solved, float(sigma)


def _surface(
    places: NDArray[np.float64], shape: tuple[int, ...], terms: int
) -> NDArray[np.float64]:
    x, y = (places / [shape[1] / 2, shape[0] / 2] - 1).T
    one: NDArray[np.float64] = np.ones_like(x)
    return np.stack((one, x, y, x * x, x * y, y * y)[:terms], axis=1)


def _lay(solved: NDArray[np.float64], shape: tuple[int, ...]) -> NDArray[np.float64]:
    """Return a surface in every pixel."""
    one, in_x, in_y, xx, xy, yy = np.pad(solved, (0, 6 - solved.size)).tolist()
    x = (np.arange(shape[1]) + 0.5) / (shape[1] / 2) - 1
    y = (np.arange(shape[0]) + 0.5)[:, None] / (shape[0] / 2) - 1
    laid: NDArray[np.float64] = (one + x * (in_x + xx * x)) + y * (in_y + yy * y + xy * x)
    return laid


def _blocks(
    mean: Plane,
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Return mean, standard deviation and centre (x, y) of all whole blocks."""
    rows, columns = (size // _BLOCK for size in mean.shape)
    cut = mean[: rows * _BLOCK, : columns * _BLOCK].astype(np.float64)
    cut = cut.reshape(rows, _BLOCK, columns, _BLOCK)
    centres = [(np.arange(count) + 0.5) * _BLOCK for count in (columns, rows)]
    places = np.stack(np.meshgrid(*centres), axis=-1).reshape(-1, 2)
    return cut.mean(axis=(1, 3)).ravel(), cut.std(axis=(1, 3)).ravel(), places
