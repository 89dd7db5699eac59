"""Two versions of a shot held against each other, from their folders."""

import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from glimsum_jobs.errors import GlimsumError
from glimsum_jobs.orders import RunOrder
from glimsum_services.workshop.folders import make_folder
from glimsum_workers.engine.differences import Difference, compare_light, enlargement
from glimsum_workers.frames.master_reading import read_master
from glimsum_workers.frames.masters import digest_file
from glimsum_workers.frames.previews import Display, shrink
from glimsum_workers.frames.sheets import Labelled, write_sheet
from glimsum_workers.light.look import Look

PAIR_WIDTH_PX = 480
MOST_PAIRS = 12
"""Rows of a pair sheet: the frames that differ most."""
DISPLAY_POWER = 1 / 2.4


@dataclass(frozen=True)
class Finished:
    """A version and the frames it has finished.

    Attributes
    ----------
    order : RunOrder
        The version.
    masters : Path
        Folder of its masters on this machine.
    frames : mapping of int to mapping
        What each frame left behind: ``name``, ``digest``, ``file_digest``.
    """

    order: RunOrder
    masters: Path
    frames: Mapping[int, Mapping[str, Any]]

    @property
    def label(self) -> str:
        """Return the version as people say it: ``v001``."""
        return f"v{self.order.version:03d}"

    def master(self, frame: int) -> Path:
        """Return the file of a frame; a name with folders in it is none of ours."""
        return self.masters / Path(str(self.frames[frame]["name"])).name


@dataclass(frozen=True)
class FramePair:
    """One frame of both versions.

    Attributes
    ----------
    frame : int
        Shot frame.
    words : str
        ``equal``, ``changed``, in which version alone it is, or why it can't be compared.
    difference : Difference or None
        Where both pictures were read.
    """

    frame: int
    words: str
    difference: Difference | None = None

    @property
    def known(self) -> bool:
        """Return whether the frame was compared."""
        return self.words in ("equal", "changed")

    def as_json(self) -> dict[str, Any]:
        """Return plain values for machines."""
        figures = None if self.difference is None else asdict(self.difference)
        return {"frame": self.frame, "is": self.words, "difference": figures}


def compare_frames(
    earlier: Finished, later: Finished, frames: Sequence[int]
) -> Iterator[FramePair]:
    """Give every frame that a version has, in order.

    Frames of one pixel digest are equal if both files still are what was written; the others are
    read and measured in linear light.
    """
    for frame in frames:
        here = frame in earlier.frames, frame in later.frames
        if here == (True, True):
            yield _pair(earlier, later, frame)
        elif any(here):
            yield FramePair(frame, f"only in {earlier.label if here[0] else later.label}")


def write_pair_sheet(
    earlier: Finished, later: Finished, pairs: Sequence[FramePair], out: Path
) -> str | None:
    """Write a sheet of the frames that differ most: earlier, later, and the difference enlarged.

    Parameters
    ----------
    earlier, later : Finished
        The versions.
    pairs : sequence of FramePair
        From `compare_frames`.
    out : Path
        A folder, made if it is not there.

    Returns
    -------
    str or None
        Name of the sheet in `out`; None where no frame differs.

    Raises
    ------
    OutputError
        The folder can't be made, or the sheet can't be written whole.
    """
    different = [each for each in pairs if each.difference and each.words == "changed"]
    most = sorted(different, key=lambda each: -(each.difference.mean if each.difference else 0))
    chosen = sorted(most[:MOST_PAIRS], key=lambda each: each.frame)
    if not chosen:
        return None
    make_folder(out, "the pair sheet can't be written", "Name another folder with --out.")
    name = f"{earlier.order.shot}_{earlier.label}_{later.label}_pairs.png"
    title = f"{earlier.order.shot}: {earlier.label}, {later.label} and the difference"
    pictures = [each for pair in chosen for each in _draw(earlier, later, pair.frame)]
    write_sheet(out, name, pictures, columns=3, title=title, token=f"compare{os.getpid()}")
    return name


def _pair(earlier: Finished, later: Finished, frame: int) -> FramePair:
    told = earlier.frames[frame], later.frames[frame]
    if told[0].get("digest") == told[1].get("digest"):
        for version in (earlier, later):
            wrong = _what_is_wrong(version, frame)
            if wrong:
                return FramePair(frame, wrong)
        return FramePair(frame, "equal")
    try:
        one = read_master(earlier.master(frame))
        other = read_master(later.master(frame))
        return FramePair(frame, "changed", compare_light(one[0], other[0], one[1], other[1]))
    except GlimsumError as error:
        return FramePair(frame, str(error))


def _what_is_wrong(version: Finished, frame: int) -> str:
    try:
        same = digest_file(version.master(frame)) == version.frames[frame].get("file_digest")
    except OSError as error:
        return f"the master of {version.label} can't be read: {error.strerror}"
    return "" if same else f"the master of {version.label} is not the one that was written"


def _draw(earlier: Finished, later: Finished, frame: int) -> Iterator[Labelled]:
    pictures = []
    for version in (earlier, later):
        rgb, _, _ = read_master(version.master(frame))
        pictures.append(rgb)
        shown = Look(version.order.job).of_master(rgb, PAIR_WIDTH_PX)
        yield Labelled(f"{frame} {version.label}", shown)
    factor = enlargement(*pictures)
    off = shrink(np.abs(pictures[1] - pictures[0]), PAIR_WIDTH_PX) * np.float32(factor)
    yield Labelled(f"{frame} difference, light times {factor}", _as_codes(off))


def _as_codes(light: np.ndarray) -> Display:
    codes: Display = np.rint(255 * np.clip(light, 0, 1) ** DISPLAY_POWER).astype(np.uint8)
    return codes
