"""The averaged darks, ambients and backings of a shot, as its frames need them."""

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.errors import OutputError
from glimsum_jobs.measurements import Averaged
from glimsum_jobs.passes import Pass
from glimsum_jobs.plan import by_frame
from glimsum_jobs.problems import Place
from glimsum_jobs.shot import ShotJob
from glimsum_workers.engine.ambient import smooth_ambient
from glimsum_workers.engine.codes import Image
from glimsum_workers.engine.hot_pixels import HotMask
from glimsum_workers.footage.digests import digest_of
from glimsum_workers.footage.material import Material
from glimsum_workers.footage.recorded import decode_pass, exposed, stops_of, without_dark
from glimsum_workers.frames.kept import Keep

AMBIENT_EPOCH = 1
"""Raised whenever smoothing the same ambient gives other numbers."""

NEIGHBOURS = 1
"""Frames before and after that help to smooth the ambient of a moving camera."""


class Averages:
    """Loads kept averages once and answers what is taken away from a frame.

    Parameters
    ----------
    job : ShotJob
        Says which pass takes away which.
    averaged : mapping of pass to Averaged
        Where each average is kept.
    material : Material
        Reads the ambient of a moving camera, which changes from frame to frame.
    keep : Keep
        Where the arrays are.
    """

    def __init__(
        self, job: ShotJob, averaged: Mapping[str, Averaged], material: Material, keep: Keep
    ) -> None:
        self._job = job
        self._averaged = averaged
        self._material = material
        self._keep = keep
        self._loaded: dict[str, dict[str, NDArray[Any]]] = {}
        self._steady: dict[str, Image] = {}

    def dark(self, each: Pass) -> Image | None:
        """Return the averaged dark of a pass, as recorded; None where it names no dark pass."""
        return self._arrays(each.dark)["mean"] if isinstance(each.dark, str) else None

    def hot_pixels(self, each: Pass) -> HotMask | None:
        """Return the hot pixels known from the dark, the ambient or the pass's own average."""
        names = [name for name in (each.dark, each.ambient) if isinstance(name, str)]
        names += [name for name in self._averaged if self._job.passes[name] is each]
        masks = [self._arrays(name)["hot"] for name in names]
        return np.logical_or.reduce(masks) if masks else None

    def average_key(self, name: str) -> list[Any]:
        """Return all that makes `average(name)` what it is, as plain JSON values."""
        each = self._job.passes[name]
        return [
            self._averaged[name].key,
            self.dark_key(each),
            each.white_balance and each.white_balance.gains,
            stops_of(self._job, name),
        ]

    def average(self, name: str) -> Image:
        """Return the average of a pass, equalised: no dark, no hot pixels, unit exposure."""
        if name not in self._steady:
            self._steady[name] = self._equalised(name, self._arrays(name)["mean"].copy())
        return self._steady[name]

    def ambient(self, name: str, frame: int) -> Image:
        """Return the ambient of a frame, equalised, in the primaries of the ambient pass.

        Locked camera: the average over the shot. Moving camera: the frame and its neighbours,
        smoothed to what their noise allows; kept in half floats for later versions.
        """
        if not self._by_frame(name):
            return self.average(name)
        key = self.ambient_key(name, frame)
        kept = self._keep.get(key)
        if kept is None:
            near = self._near(frame)
            pictures = [self._ambient_frame(name, each) for each in near]
            smooth = smooth_ambient(pictures, near.index(frame))
            kept = {"ambient": smooth.astype(np.float16)}
            self._keep.put(key, **kept)
        return np.asarray(kept["ambient"], dtype=np.float32)

    def ambient_key(self, name: str, frame: int) -> str:
        """Return a digest of all that makes `ambient(name, frame)` what it is."""
        if not self._by_frame(name):
            return digest_of("average", self.average_key(name))
        near = self._near(frame)
        return digest_of(
            "ambient",
            AMBIENT_EPOCH,
            [self._material.pass_fingerprint(name, f) for f in near],
            frame - near[0],
            *self.average_key(name),
        )

    def dark_key(self, each: Pass) -> Any:
        """Return what says which dark is taken from a pass: its key, its level, or None."""
        if isinstance(each.dark, str):
            return self._averaged[each.dark].key
        return each.dark.level if each.dark is not None else None

    def _by_frame(self, name: str) -> bool:
        return by_frame(self._job, self._material.checked, name)

    def _near(self, frame: int) -> list[int]:
        frames = self._job.frames.numbers
        return [f for f in range(frame - NEIGHBOURS, frame + NEIGHBOURS + 1) if f in frames]

    def _ambient_frame(self, name: str, frame: int) -> Image:
        recorded = decode_pass(self._job.passes[name], self._material.pass_codes(name, frame))
        return self._equalised(name, recorded.picture.rgb)

    def _equalised(self, name: str, recorded: Image) -> Image:
        each = self._job.passes[name]
        rgb, _ = without_dark(each, recorded, self.dark(each), self.hot_pixels(each))
        return exposed(self._job, name, rgb)

    def _arrays(self, name: str) -> dict[str, NDArray[Any]]:
        if name not in self._loaded:
            arrays = self._keep.get(self._averaged[name].key) if name in self._averaged else None
            if arrays is None:
                raise OutputError(
                    f"the average of pass {name} is no longer kept",
                    place=Place(shot=self._job.shot, pass_name=name),
                    seen="nothing under its key",
                    expected="the arrays that measuring left behind",
                    remedy="Measure the shot again: submit it as a new version.",
                )
            self._loaded[name] = arrays
        return self._loaded[name]
