"""What the steps of a frame lay on, shrunk before gain and tint, and combined small.

Gain, tint and the mean of a block of pixels are linear: a recipe that adds light gives the mean
of the full frame, whatever its gains. A source with its matte is made once, and kept on disk.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.recipe import Operator, Step
from glimsum_workers.combine_frame import ShotBench
from glimsum_workers.engine.blends import check_blend
from glimsum_workers.engine.codes import Image, Picture, Plane
from glimsum_workers.engine.combine import combine_step, lay_ground
from glimsum_workers.engine.resample.window import Window
from glimsum_workers.engine.scaling import reduce_picture
from glimsum_workers.engine.spaces import Matrix3
from glimsum_workers.engine.tint import tint_matrix
from glimsum_workers.footage.digests import digest_of
from glimsum_workers.frames.kept_light import LightStore
from glimsum_workers.light.fingerprint import PIXEL_EPOCH
from glimsum_workers.steps.on_frame import OnFrame
from glimsum_workers.writing.frame_fingerprint import matte_fingerprint, source_fingerprint

_STRIP_PX = 1 << 15
"""Below the size from which compiled code is loaded, which takes longer than a whole sheet."""

_SUMS = ("plus", "over")
"""Operators that leave a frame a sum of lights; coverage hangs on no gain."""


class SmallSources:
    """What the steps of one frame lay on, shrunk; each is made once, and kept on disk.

    Parameters
    ----------
    store : LightStore or None
        Where small sources are kept.
    frame : int
        Shot frame.
    factor : int
        Side of the blocks of pixels that become one.
    """

    def __init__(self, store: LightStore | None, frame: int, factor: int) -> None:
        self._store = store
        self._frame = frame
        self._factor = factor
        self._made: dict[str, Picture | None] = {}
        self._over: dict[str, Picture | None] = {}
        self._on_frame: dict[int, OnFrame] = {}

    def combine(self, bench: ShotBench) -> Image:
        """Return the frame as the recipe of a bench combines it, small.

        Parameters
        ----------
        bench : ShotBench
            Of one cell.

        Returns
        -------
        Image
            (ceil(height / factor), ceil(width / factor), 3), scene-linear, working space. A
            recipe of `plus` and `over` is a sum of lights, each times its gain and times what
            later steps let through: the result is the mean of blocks of the full frame, within
            float rounding. Other operators are taken of the means, which differs where an edge
            crosses a block.
        """
        window, frame = bench.window(self._frame), self._frame
        ground = lay_ground(*(-(-side // self._factor) for side in bench.size))
        steps = bench.job.steps
        is_sum = all(bench.is_out(step, frame) or step.operator in _SUMS for step in steps)
        for index, step in enumerate(steps):
            if bench.is_out(step, frame):
                if ground.alpha is not None:
                    ground.alpha[...] = 1
                continue
            over = [each for each in steps[index + 1 :] if is_sum and each.operator == "over"]
            source = self._source(bench, [step, *over], window)
            if source is not None:
                matrix = step.gain(frame) * tint_matrix(
                    step.tint_mired, lamp_kelvin=step.lamp_kelvin, space=bench.job.space
                )
                _lay(ground, source, "plus" if is_sum else step.operator, matrix)
        return ground.rgb

    def _source(self, bench: ShotBench, steps: list[Step], window: Window) -> Picture | None:
        """Return what the first of some steps lays on, as far as the others let it through."""
        key = self._key(bench, steps, window)
        if key in self._made:
            return self._made[key]
        kept = None if self._store is None else self._store.get(key)
        if kept is None:
            made = self._make(bench, steps, window)
            if made is not None and self._store is not None:
                self._store.put(key, _as_arrays(made))
        else:
            made = Picture(kept["rgb"], kept.get("alpha"))
        self._made[key] = made
        return made

    def _key(self, bench: ShotBench, steps: list[Step], window: Window) -> str:
        return digest_of(
            "small",
            PIXEL_EPOCH,
            bench.job.space,
            self._factor,
            [window.top, window.bottom, window.left, window.right],
            [_parts(bench, step, self._frame) for step in steps],
        )

    def _make(self, bench: ShotBench, steps: list[Step], window: Window) -> Picture | None:
        source = self._full(bench, steps[0])
        if source is None:
            return None
        rgb, alpha = source.rgb, source.alpha
        for step in steps[1:]:
            above = self._full(bench, step)
            if above is not None:
                rgb = rgb * (0 if above.alpha is None else 1 - above.alpha[..., None])
        if window != Window.whole(bench.size):
            inside = np.zeros(bench.size, np.float32)
            inside[window.slices()] = 1
            rgb = rgb * inside[..., None]
            alpha = inside if alpha is None else alpha * inside
        return Picture(
            reduce_picture(rgb, self._factor),
            None if alpha is None else _reduce_plane(alpha, self._factor),
        )

    def _full(self, bench: ShotBench, step: Step) -> Picture | None:
        """Return what a step lays on with its matte, at full size; laid over others, once."""
        key = digest_of(_parts(bench, step, self._frame)) if step.operator == "over" else ""
        if key in self._over:
            return self._over[key]
        # Lights and mattes of one bench are those of every bench that shares its sources.
        made = self._on_frame.setdefault(id(bench.light), OnFrame(self._frame))
        source = bench.source(step, made)
        if source is not None and step.matte is not None:
            matte = bench.matte(step.matte, made)
            alpha = matte if source.alpha is None else source.alpha * matte
            source = Picture(source.rgb * matte[..., None], alpha)
        if key:
            self._over[key] = source
        return source


def _parts(bench: ShotBench, step: Step, frame: int) -> list[Any]:
    """Return everything that changes what a step lays on before gain and tint."""
    matte = None if step.matte is None else matte_fingerprint(bench, step.matte, frame)
    return [source_fingerprint(bench, step, frame), matte]


def _lay(ground: Picture, source: Picture, operator: Operator, matrix: Matrix3) -> None:
    """Lay a small source on a small ground, strip by strip."""
    check_blend(ground, source, operator, matrix)
    height, width = ground.rgb.shape[:2]
    rows = max(1, _STRIP_PX // width)
    for top in range(0, height, rows):
        strip = slice(top, top + rows)
        combine_step(
            _part(ground, strip), _part(source, strip), operator, matrix=matrix, refuse=False
        )


def _part(picture: Picture, rows: slice) -> Picture:
    return Picture(picture.rgb[rows], None if picture.alpha is None else picture.alpha[rows])


def _as_arrays(picture: Picture) -> dict[str, NDArray[Any]]:
    return {"rgb": picture.rgb} | ({} if picture.alpha is None else {"alpha": picture.alpha})


def _reduce_plane(plane: Plane, factor: int) -> Plane:
    return reduce_picture(np.repeat(plane[..., None], 3, axis=2), factor)[..., 0]
