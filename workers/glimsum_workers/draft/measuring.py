"""What the pictures of a pass say once they are light: how they flicker, how bright they get."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.draft.guesses import guess_space
from glimsum_workers.draft.pieces import Piece
from glimsum_workers.engine.codes import Codes, Image, Plane
from glimsum_workers.engine.encodings import decode
from glimsum_workers.engine.level.sample import GRID_COLUMNS, level_sample
from glimsum_workers.engine.metrics import block_means

ROW_OF_PICTURES = 9
"""Pictures one after another that flicker is looked for in."""
FEWEST_IN_A_ROW = 5
BACKING_PERCENTILE = 99
BOX_PX = 8
"""Side of the boxes a backing's level is taken from: noise and hot pixels average out."""

Rgb = tuple[float, float, float]


@dataclass(frozen=True)
class Flicker:
    """How the level of a pass goes from picture to picture.

    Attributes
    ----------
    jump : float
        Median of what a picture differs from the mean of its two neighbours, as a share.
    pictures : int
        How many were looked at, one after another.
    """

    jump: float
    pictures: int


@dataclass(frozen=True)
class Backing:
    """Level of the lit backing behind a silhouette.

    Attributes
    ----------
    level : tuple of three floats
        Red, green, blue; linear in the camera's own primaries, as recorded, dark still in.
    pictures : int
        How many it was taken from.
    coding : str
        Which coding they were decoded from.
    """

    level: Rgb
    pictures: int
    coding: str


def coding_of(piece: Piece) -> str | None:
    """Return the coding the pictures of a pass may be measured in, None where it is not known.

    Any linear space does for floating-point files: neither a level as recorded nor a ratio of
    levels depends on the primaries.
    """
    if piece.kind == "exr":
        return "lin_rec709_scene"
    if piece.clip is not None and piece.clip.range is None:
        return None
    return guess_space(piece)[0]


def light_in(codes: Codes, piece: Piece) -> Image | None:
    """Return a picture of a pass as scene-linear light, None where its coding is not known."""
    coding = coding_of(piece)
    if coding is None:
        return None
    video_range = piece.clip.range if piece.clip is not None else None
    return decode(codes, coding, video_range=video_range).picture.rgb


def level_plane(light: Image) -> Plane | None:
    """Return the light of a picture in cells of 1/120 of its width; None if it has no cell."""
    if min(light.shape[:2]) < max(2, light.shape[1] // GRID_COLUMNS):
        return None
    return level_sample(light).light


def middle_row(numbers: Sequence[int], most: int = ROW_OF_PICTURES) -> list[int]:
    """Return at most `most` neighbouring numbers from the middle of a pass."""
    start = max(0, (len(numbers) - most) // 2)
    return list(numbers[start : start + most])


def measure_flicker(planes: Sequence[Plane]) -> Flicker | None:
    """Return how the level goes from picture to picture.

    Parameters
    ----------
    planes : sequence of float32 array, (rows, columns)
        Scene-linear light in cells, pictures one after another; dark may still be in.

    Returns
    -------
    Flicker or None
        None for fewer than five pictures, or where there is no light. The darkest hundredth of
        the cells of all pictures stands for the dark level and is taken away. A steady camera
        move changes the level evenly and cancels; a cue changes two pictures and not the median.
        On the rendered harbour: 2.0 % where the true gains of the lamps jump by 2.4 % (the leak
        dilutes it), 0.1 % in passes whose lamps are steady.
    """
    if len(planes) < FEWEST_IN_A_ROW:
        return None
    dark = float(np.percentile(np.stack(planes), 1))
    levels = np.array([float(plane.mean()) - dark for plane in planes])
    if levels.min() <= 0:
        return None
    beside = (levels[:-2] + levels[2:]) / 2
    return Flicker(float(np.median(np.abs(levels[1:-1] / beside - 1))), len(planes))


def bright_level(light: Image) -> NDArray[np.float32]:
    """Return the level the brightest hundredth of a picture reaches, R G B, from box means."""
    size = min(BOX_PX, *light.shape[:2])
    boxes = block_means(light, size).reshape(-1, 3)
    return np.asarray(np.percentile(boxes, BACKING_PERCENTILE, axis=0), dtype=np.float32)


def backing_level(levels: Sequence[NDArray[np.float32]], coding: str) -> Backing | None:
    """Return the level of a backing, the median over pictures; None without any."""
    if not levels:
        return None
    red, green, blue = (float(value) for value in np.median(np.stack(levels), axis=0))
    return Backing((red, green, blue), len(levels), coding)
