"""The one resample: a pass pulled on to the reference, crop and change of size included."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.codes import Picture
from glimsum_workers.engine.laying import is_worth_it
from glimsum_workers.engine.motion import Affine, Motion
from glimsum_workers.engine.resample.kernels import tap_table
from glimsum_workers.engine.resample.mapped import Places, SourceMap, map_channels
from glimsum_workers.engine.resample.places import Place
from glimsum_workers.engine.resample.quick import Laid, find_rule_quickly, lay_quickly
from glimsum_workers.engine.resample.quick_field import lay_field_quickly
from glimsum_workers.engine.resample.ring_limits import find_ring_rule
from glimsum_workers.engine.resample.shifted import shift_channels

Field = NDArray[np.float32]
"""A motion of its own for every pixel: float32, (height, width, 2), x then y, in pixels."""

_MOST_LEAN = 0.02
_MOST_STRETCH = 16.0


@dataclass(frozen=True)
class Resampled:
    """A resampled picture, and how much of it the source covers.

    Attributes
    ----------
    picture : Picture
        As the reference camera would have seen it.
    count_inside : callable
        Returns the share of the pixels, 0..1, whose place lies in the source: counted when
        asked for, since that takes as long as the resample.
    """

    picture: Picture
    count_inside: Callable[[], float]

    @property
    def inside(self) -> float:
        """Return the share of the pixels, 0..1, whose place lies in the source."""
        return self.count_inside()


def resample(
    picture: Picture,
    motion: Motion | Affine | Field,
    *,
    size: tuple[int, int] | None = None,
    edges: Literal["repeat", "crop"] = "repeat",
) -> Resampled:
    """Pull a pass on to the reference: ``out(p_ref) = in(p_pass(p_ref))``.

    Parameters
    ----------
    picture : Picture
        Of the pass: premultiplied, scene-linear, finite; left as it is.
    motion : Motion, Affine or Field
        Where the pass shows a point of the reference:
        ``p_pass = c + M (p_ref - c_ref) + (dx, dy)``, c and c_ref the centres of `picture` and
        of the result, pixel centres at 0.5, x right, y down. A field adds its own (dx, dy) in
        every pixel, with M = 1. Crop and change of size go in as an `Affine`, done before the
        motion (``motion.after(crop)``), so that a picture is resampled once.
    size : tuple of int, optional
        (height, width) of the result; default: that of `picture`, for a field that of the field.
    edges : {"repeat", "crop"}
        What is shown where the place lies outside the pass: its edge, or nothing (colour and
        alpha 0, also where the pass had no alpha).

    Returns
    -------
    Resampled
        Negative values are kept. The same `Picture` where nothing moves; whole shifts copy
        samples bit by bit; constants and ramps are exact to float32 rounding. Alpha is clamped
        to 0..1.

    Raises
    ------
    LightError
        If the motion is not finite or makes the picture more than 16 times smaller or larger,
        or a field has another size than asked.

    Notes
    -----
    Kernel: 8-tap Kaiser-windowed sinc with corrected moments (`kernels`), wider where the
    picture is made smaller. Beside lamps new samples stay within the four nearest source
    samples (`ring_limits`). A shift takes one set of taps a row and a
    column; a map that leans by less than 0.02 (about 1.1 degrees) takes two passes; anything
    else weighs all 64 samples of every pixel. A field isn't to make the picture much smaller:
    its kernel is never widened.
    """
    height, width = picture.rgb.shape[:2]
    shape = height, width
    if isinstance(motion, np.ndarray):
        wanted = motion.shape[:2] if size is None else size
        _check_field(motion, wanted)
        if picture.alpha is None and edges == "repeat" and is_worth_it(wanted):
            return _by_field(picture, motion, wanted)
        return _mapped(picture, _field_map(motion, shape), wanted, edges)
    wanted = shape if size is None else size
    turn, shift = motion.turn(), np.array([motion.dx, motion.dy], np.float64)
    stretch = _check_turn(turn, shift)
    offset = shift + (np.array(shape) - wanted)[::-1] / 2
    place = Place.of(turn, shift, shape, wanted)
    quick = picture.alpha is None and edges == "repeat" and place.is_quick and is_worth_it(wanted)
    if quick and not _is_whole(turn, offset):
        return _quickly(picture, place, wanted)
    if np.array_equal(turn, np.eye(2)):
        if wanted == shape and not offset.any():
            return Resampled(picture, lambda: 1.0)
        return _shifted(picture, float(offset[0]), float(offset[1]), wanted, edges)
    return _mapped(picture, _affine_map(turn, shift, stretch, shape, wanted), wanted, edges)


def _is_whole(turn: NDArray[np.float64], offset: NDArray[np.float64]) -> bool:
    """Return whether samples only change places."""
    return np.array_equal(turn, np.eye(2)) and all(each.is_integer() for each in offset.tolist())


def _quickly(picture: Picture, place: Place, size: tuple[int, int]) -> Resampled:
    rgb = np.empty((*size, 3), np.float32)
    lay_quickly(picture.rgb, place, find_rule_quickly(picture.rgb, None), rgb, Laid())
    return Resampled(Picture(rgb), lambda: place.share_inside(picture.rgb.shape[:2], size))


def _by_field(picture: Picture, field: Field, size: tuple[int, int]) -> Resampled:
    rgb = np.empty((*size, 3), np.float32)
    lay_field_quickly(picture.rgb, field, find_rule_quickly(picture.rgb, None), rgb, Laid())

    def count_inside() -> float:
        height, width = picture.rgb.shape[:2]
        across, along = _field_map(field, (height, width)).places(
            slice(0, size[0]), slice(0, size[1])
        )
        beyond = (np.abs(across - (width - 1) / 2) > width / 2) | (
            np.abs(along - (height - 1) / 2) > height / 2
        )
        return 1 - float(np.mean(beyond))

    return Resampled(Picture(rgb), count_inside)


def _shifted(
    picture: Picture,
    right: float,
    down: float,
    size: tuple[int, int],
    edges: Literal["repeat", "crop"],
) -> Resampled:
    whole = right.is_integer() and down.is_integer()
    rule = None if whole else find_ring_rule(picture.rgb)
    rgb = shift_channels(picture.rgb, right, down, size, rule)
    alpha = None
    if picture.alpha is not None:
        moved = shift_channels(picture.alpha[..., None], right, down, size, None)
        alpha = np.clip(moved[..., 0], 0, 1)
    rows, columns = (
        _outside(step, new, old)
        for step, new, old in zip((down, right), size, picture.rgb.shape[:2], strict=True)
    )
    beyond = np.count_nonzero(rows) * size[1] + np.count_nonzero(columns) * (
        size[0] - np.count_nonzero(rows)
    )
    if edges == "crop" and beyond:
        alpha = np.ones(size, np.float32) if alpha is None else alpha
        for plane in (rgb, alpha):
            plane[rows] = 0
            plane[:, columns] = 0
    return Resampled(Picture(rgb, alpha), lambda: 1 - float(beyond) / (size[0] * size[1]))


def _outside(step: float, new: int, old: int) -> NDArray[np.bool_]:
    beyond: NDArray[np.bool_] = np.abs(np.arange(new) + step - (old - 1) / 2) > old / 2
    return beyond


def _mapped(
    picture: Picture,
    source: SourceMap,
    size: tuple[int, int],
    edges: Literal["repeat", "crop"],
) -> Resampled:
    channels = picture.rgb
    if picture.alpha is not None:
        channels = np.dstack([picture.rgb, picture.alpha])
    elif edges == "crop":
        channels = np.dstack([picture.rgb, np.ones(picture.rgb.shape[:2], np.float32)])
    rule = find_ring_rule(picture.rgb, max(source.across.taps, source.along.taps))
    result, beyond = map_channels(channels, source, size, rule, empty_outside=edges == "crop")
    rgb, alpha = np.ascontiguousarray(result[..., :3]), None
    if picture.alpha is not None or (beyond and edges == "crop"):
        alpha = np.clip(result[..., 3], 0, 1)
    return Resampled(Picture(rgb, alpha), lambda: 1 - beyond / (size[0] * size[1]))


def _affine_map(
    turn: NDArray[np.float64],
    shift: NDArray[np.float64],
    stretch: float,
    shape: tuple[int, ...],
    size: tuple[int, int],
) -> SourceMap:
    (a, b), (c, d) = turn.tolist()

    def places(rows: slice, columns: slice) -> Places:
        x = np.arange(columns.start, columns.stop) + (0.5 - size[1] / 2)
        y = np.arange(rows.start, rows.stop)[:, None] + (0.5 - size[0] / 2)
        across = a * x + b * y + (shape[1] / 2 - 0.5 + shift[0])
        return across, c * x + d * y + (shape[0] / 2 - 0.5 + shift[1])

    if d > 0 and abs(b / d) <= _MOST_LEAN and a - b * c / d > 0:
        return SourceMap(places, tap_table(a - b * c / d), tap_table(d), lean=b / d)
    table = tap_table(stretch)
    return SourceMap(places, table, table)


def _field_map(field: Field, shape: tuple[int, ...]) -> SourceMap:
    left, top = (shape[1] - field.shape[1]) / 2, (shape[0] - field.shape[0]) / 2

    def places(rows: slice, columns: slice) -> Places:
        own = field[rows, columns].astype(np.float64)
        x = np.arange(columns.start, columns.stop) + left
        y = np.arange(rows.start, rows.stop)[:, None] + top
        return own[..., 0] + x, own[..., 1] + y

    return SourceMap(places, tap_table(), tap_table())


def _check_turn(turn: NDArray[np.float64], shift: NDArray[np.float64]) -> float:
    """Return how many source pixels a new one is wide; LightError for an impossible map."""
    if not (np.all(np.isfinite(turn)) and np.all(np.isfinite(shift))):
        raise LightError(
            "The motion of a pass is not finite",
            seen=f"matrix {turn.tolist()}, shift {shift.tolist()} px",
            expected="finite numbers",
            remedy="Measure the pass again, or give it no motion.",
        )
    widest, narrowest = np.linalg.svd(turn, compute_uv=False).tolist()
    if narrowest < 1 / _MOST_STRETCH or widest > _MOST_STRETCH:
        raise LightError(
            "The motion of a pass changes its size too far",
            # What a processor leaves of 0 is no size.
            seen=f"{round(narrowest, 9):.4g} to {widest:.4g} source pixels to a new one",
            expected=f"{1 / _MOST_STRETCH:.4g} to {_MOST_STRETCH:.4g}",
            remedy="Check the crop and the size of the picture.",
        )
    return float(widest)


def _check_field(field: Field, size: tuple[int, ...]) -> None:
    if field.shape != (*size, 2):
        raise LightError(
            "The motion field of a pass has another size than the picture wanted",
            seen=f"shape {field.shape}",
            expected=f"shape {(*size, 2)}",
            remedy="Make the field at the size of the result.",
        )
    if not np.isfinite(field).all():
        raise LightError(
            "The motion field of a pass is not finite",
            seen=f"{np.count_nonzero(~np.isfinite(field))} of {field.size} numbers",
            expected="finite numbers",
            remedy="Fill the gaps of the field first.",
        )
