"""What lies where in the folder of a version, and how its files are called."""

from glimsum_jobs.orders import RunOrder

MASTERS = "master"
PREVIEWS = "preview"
VIEWING = "viewing"
LINES = "lines"
"""Folders inside the folder of a version."""


def master_name(order: RunOrder, frame: int) -> str:
    """Return the file name of a master: ``mole_040_v003.1001.exr``."""
    return f"{order.shot}_v{order.version:03d}.{frame:04d}.exr"


def preview_name(order: RunOrder, frame: int) -> str:
    """Return the file name of a preview: ``mole_040_v003.1001.jpg``."""
    return f"{order.shot}_v{order.version:03d}.{frame:04d}.jpg"
