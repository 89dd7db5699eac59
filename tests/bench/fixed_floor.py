"""What our frames are measured against, whatever we do better: it stays as it is.

Reading is the standard's own library; writing is OpenEXR's ZIP with one call of a fast deflate a
block, as anyone would write it first. Neither gets faster when our reader or writer does.
"""

import struct
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import OpenEXR
from isal import isal_zlib
from numpy.typing import NDArray

from bench.frame_material import path_of
from glimsum_workers.engine.compiled.scanlines import leave_differences, part_words

_LINES, _LEVEL = 16, 1


def read_floor(folder: Path, names: tuple[str, ...]) -> None:
    """Read the files of a frame with the standard's own library, and do nothing with them."""
    for name in names:
        path = str(path_of(folder, name))
        OpenEXR.File(path, separate_channels=True, num_threads=0).channels()


def pack_floor(planes: Mapping[str, NDArray[Any]]) -> bytes:
    """Return the blocks of a ZIP file of half planes, without a header, which takes no time."""
    ordered = [planes[name] for name in sorted(planes)]
    parts = []
    for top in range(0, len(ordered[0]), _LINES):
        lines = [each[top : top + _LINES] for each in ordered]
        size = sum(each.nbytes for each in lines)
        parted, differences = np.empty(size, np.uint8), np.empty(size, np.uint8)
        for index, each in enumerate(lines):
            part_words(np.ascontiguousarray(each).view(np.uint16), index, len(lines), parted)
        leave_differences(parted, differences)
        packed = isal_zlib.compress(differences, _LEVEL)
        if len(packed) >= size:
            packed = np.stack(lines, axis=1).tobytes()
        parts += [struct.pack("<ii", top, len(packed)), packed]
    return b"".join(parts)
