"""Read a master back, for a later version of the shot or to look at it."""

import os
from pathlib import Path
from typing import Any

from glimsum_jobs.errors import SourceError
from glimsum_jobs.problems import Place
from glimsum_workers.engine.codes import FloatPixels, Image, Plane
from glimsum_workers.frames.pictures import opened_picture
from glimsum_workers.frames.stills import read_still


def read_master(path: Path) -> tuple[Image, Plane | None, dict[str, Any]]:
    """Read a master.

    Parameters
    ----------
    path : Path
        A file of our own; paths from a job go through `sources`.

    Returns
    -------
    rgb : Image
        Scene-linear, working space.
    alpha : Plane or None
        Coverage; None means 1 everywhere.
    attributes : dict
        By name, as the picture library gives them (``timeCode`` is ``smpte:TimeCode`` there).

    Raises
    ------
    SourceError
        The file is missing, empty, cut off or not OpenEXR.
    """
    try:
        descriptor = os.open(path, os.O_RDONLY | os.O_CLOEXEC)
    except OSError as error:
        raise SourceError(
            "a master can't be opened",
            place=Place(file=str(path)),
            seen=error.strerror or str(error),
            expected="a file",
        ) from error
    try:
        codes = read_still(descriptor, path.name)
        with opened_picture(descriptor, path.name) as picture:
            attributes = {told.name: told.value for told in picture.spec().extra_attribs}
    finally:
        os.close(descriptor)
    if not isinstance(codes, FloatPixels):
        raise SourceError(
            "a master holds no floats",
            place=Place(file=str(path)),
            seen=f"{codes.bits} bit integers",
            expected="half or float",
        )
    return codes.values, codes.alpha, attributes
