"""Where a pass shows what the reference shows: motions between two pictures, and how sure."""

from dataclasses import dataclass
from typing import Self, overload

import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.float64]
"""Places in a picture: float64, (n, 2), x then y, pixels; pixel centres at 0.5, y down."""


@dataclass(frozen=True)
class Affine:
    """A linear map about the picture's centre, then a shift.

    ``p_pass = c + matrix @ (p_ref - c) + (dx, dy)``, c the picture's centre.

    Attributes
    ----------
    dx, dy : float
        Shift, pixels, x right and y down.
    matrix : tuple of two tuples of two floats
        Rows of the 2 x 2 matrix for columns (x, y).
    """

    dx: float
    dy: float
    matrix: tuple[tuple[float, float], tuple[float, float]] = ((1.0, 0.0), (0.0, 1.0))

    def turn(self) -> NDArray[np.float64]:
        """Return the 2 x 2 matrix for columns (x, y)."""
        return np.asarray(self.matrix, dtype=np.float64)

    def at(self, points: Points, size: tuple[int, int]) -> Points:
        """Return where the pass shows points of the reference (see `map_points`)."""
        return map_points(self, points, size)

    def after(self, other: "Motion | Affine") -> Self:
        """Return the map that does `other` first and then this one."""
        dx, dy = self.turn() @ [other.dx, other.dy] + [self.dx, self.dy]
        return type(self)(float(dx), float(dy), _as_rows(self.turn() @ other.turn()))

    def inverse(self) -> Self:
        """Return the map that undoes this one; ValueError where the matrix has no inverse."""
        try:
            back: NDArray[np.float64] = np.asarray(np.linalg.inv(self.turn()), dtype=np.float64)
        except np.linalg.LinAlgError:
            raise ValueError(f"{self} folds the picture flat: nothing can undo it") from None
        dx, dy = -back @ [self.dx, self.dy]
        return type(self)(float(dx), float(dy), _as_rows(back))

    def as_affine(self) -> "Affine":
        """Return the map itself."""
        return self


@dataclass(frozen=True)
class Motion:
    """A rotation and a scale about the picture's centre, then a shift.

    ``p_pass = c + scale * Rot(rotation) * (p_ref - c) + (dx, dy)``, c the picture's centre.

    Attributes
    ----------
    dx, dy : float
        Shift, pixels, x right and y down.
    rotation_deg : float
        Degrees, positive from x to y (clockwise on screen).
    scale : float
        Magnification, above 0.
    parallax : tuple of float
        x, y: how far a place one deviation nearer than the mean of the picture is displaced
        beyond that, pixels (see `nearness.Nearness`). (0, 0) where the camera stands in the same
        place. Points mapped without their nearness are taken at mean distance.
    """

    dx: float
    dy: float
    rotation_deg: float = 0.0
    scale: float = 1.0
    parallax: tuple[float, float] = (0.0, 0.0)

    def turn(self) -> NDArray[np.float64]:
        """Return scale * Rot(rotation): 2 x 2, for columns (x, y)."""
        angle = np.deg2rad(self.rotation_deg)
        cos, sin = np.cos(angle), np.sin(angle)
        return self.scale * np.array([[cos, -sin], [sin, cos]])

    def at(self, points: Points, size: tuple[int, int]) -> Points:
        """Return where the pass shows points of the reference (see `map_points`)."""
        return map_points(self, points, size)

    @overload
    def after(self, other: "Motion") -> "Motion": ...
    @overload
    def after(self, other: Affine) -> Affine: ...
    def after(self, other: "Motion | Affine") -> "Motion | Affine":
        """Return the motion that does `other` first and then this one."""
        if isinstance(other, Affine):
            return self.as_affine().after(other)
        dx, dy = self.turn() @ [other.dx, other.dy] + [self.dx, self.dy]
        angle, scale = self.rotation_deg + other.rotation_deg, self.scale * other.scale
        x, y = self.turn() @ other.parallax + self.parallax
        return Motion(float(dx), float(dy), angle, scale, (float(x), float(y)))

    def inverse(self) -> "Motion":
        """Return the motion that undoes this one."""
        dx, dy = -np.linalg.solve(self.turn(), [self.dx, self.dy])
        x, y = -np.linalg.solve(self.turn(), self.parallax)
        angle = -self.rotation_deg
        return Motion(float(dx), float(dy), angle, 1.0 / self.scale, (float(x), float(y)))

    def as_affine(self) -> Affine:
        """Return the same map as an `Affine`, everything taken at mean distance."""
        return Affine(self.dx, self.dy, _as_rows(self.turn()))


STILL = Motion(0.0, 0.0)
"""No motion at all."""


@dataclass(frozen=True)
class Registration:
    """The motion found between a reference and a pass, and how far it is to be believed.

    Attributes
    ----------
    motion : Motion or Affine
        Maps a point of the reference to where the pass shows it.
    sigma_px : float
        Standard error of the shift per axis at the picture's centre, pixels of the full size.
        Infinite where nothing was found.
    corner_sigma_px : float
        The same in the corner of the picture that is known worst.
    trusted : bool
        False where sigma exceeds 0.3 px or a gate failed.
    alarm : float
        Chi scale of the tiles: how much more they differ from the motion than their own noise
        allows. In the same light 1.0 to 1.2 where one motion fits, and above 2 the camera has
        changed its place (parallax), not only its direction; across lights up to 2.5 is usual.
    tiles : float32 array, (n, 5)
        x, y of a tile's centre, residual dx, dy against `motion` (all in pixels of the full
        size), and its weight, 0..1 of the heaviest; for plots. May hold no row.
    reason : str
        Why the motion isn't trusted, in words; empty where it is.
    parallax_sigma_px : float
        Standard error of the motion's parallax per axis, pixels; infinite where none was sought
        or found.
    parallax_pull : tuple of 8 float
        By how much dx, dy, growth and turning (the last two in pixels in the corner) change for
        a pixel that the parallax in x is held higher, then the same for y.
    """

    motion: Motion | Affine
    sigma_px: float
    corner_sigma_px: float
    trusted: bool
    alarm: float
    tiles: NDArray[np.float32]
    reason: str = ""
    parallax_sigma_px: float = np.inf
    parallax_pull: tuple[float, ...] = (0.0,) * 8


def map_points(motion: Motion | Affine, points: Points, size: tuple[int, int]) -> Points:
    """Map places in the reference to the places where the pass shows them.

    Parameters
    ----------
    motion : Motion or Affine
    points : Points, (n, 2)
        x then y, pixels; pixel centres at 0.5.
    size : tuple of int
        (height, width) of the picture in pixels; the centre is its half.

    Returns
    -------
    Points, (n, 2)
        Exact to float64 rounding.
    """
    centre = np.array([size[1] / 2, size[0] / 2])
    moved: Points = (points - centre) @ motion.turn().T + centre + [motion.dx, motion.dy]
    return moved


def _as_rows(matrix: NDArray[np.float64]) -> tuple[tuple[float, float], tuple[float, float]]:
    (a, b), (c, d) = matrix.tolist()
    return (a, b), (c, d)
