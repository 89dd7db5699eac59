"""OpenEXR files of plain half-float colour, read as they are stored: plane by plane.

By our own code where they are ZIP, else by the standard's own library, which takes half the time
of the general reader for them.
"""

from typing import Any

import numpy as np
import OpenEXR
from OpenImageIO import ImageSpec

from glimsum_workers.engine.laying import Halves
from glimsum_workers.frames.limits import kind_by_name
from glimsum_workers.frames.pictures import DESCRIPTORS
from glimsum_workers.frames.scan_lines import read_zip_planes


def holds_plain_halves(spec: ImageSpec, file: str) -> bool:
    """Return whether a file holds R, G, B in half floats and nothing else, window and all.

    Parameters
    ----------
    spec : ImageSpec
        Of the file's first part.
    file : str
        Name, for its ending.
    """
    windows = (spec.x, spec.y, spec.width, spec.height)
    return (
        kind_by_name(file).name == "exr"
        and sorted(spec.channelnames) == ["B", "G", "R"]
        and str(spec.format) == "half"
        and {str(kind) for kind in spec.channelformats} <= {"half"}
        and windows == (spec.full_x, spec.full_y, spec.full_width, spec.full_height)
        and not spec.deep
        and spec.get_int_attribute("oiio:subimages", 1) == 1
    )


def read_planes(descriptor: int, size: tuple[int, int]) -> Halves | None:
    """Read the planes of a file that `holds_plain_halves`.

    Parameters
    ----------
    descriptor : int
        Open for reading; not closed here.
    size : tuple of int
        (height, width) its header tells.

    Returns
    -------
    Halves or None
        Scene-linear or encoded, exactly as stored; NaN and infinity too. None where the file is
        cut off or damaged: the general reader then says how.

    Notes
    -----
    The library tells damage by a file without parts, and on the error stream.
    """
    ours = read_zip_planes(descriptor, size)
    return _read_by_library(descriptor, size) if ours is None else ours


def _read_by_library(descriptor: int, size: tuple[int, int]) -> Halves | None:
    path = str(DESCRIPTORS / str(descriptor))
    try:
        read: Any = OpenEXR.File(path, separate_channels=True, num_threads=0)
        planes = read.channels()
        red, green, blue = (planes[name].pixels for name in "RGB")
    except (RuntimeError, ValueError, KeyError, TypeError):
        return None
    if any(plane.shape != size or plane.dtype != np.float16 for plane in (red, green, blue)):
        return None
    return red, green, blue
