"""A picture in which the flashing area can be seen at a glance."""

import numpy as np

from glimsum_workers.engine.flashes.screen import Hits
from glimsum_workers.engine.viewing import DisplayCodes

_DIMMED = 3
"""What does not flash is shown at a third of its codes."""
_LINE_PX = 2


def mark_area(
    picture: DisplayCodes, flashing: Hits, box: tuple[int, int, int, int]
) -> DisplayCodes:
    """Return a picture dimmed where nothing flashes, with a line round the place that was judged.

    Parameters
    ----------
    picture : DisplayCodes
        uint8, (height, width, 3). Not changed.
    flashing : bool array (height, width)
        The flashing area at the size of the picture.
    box : tuple of int
        Left, top, right and bottom of the place, pixels.

    Returns
    -------
    DisplayCodes
        The line is white within black, so that it shows on any picture.
    """
    marked = np.where(flashing[..., None], picture, picture // _DIMMED).astype(np.uint8)
    left, top, right, bottom = box
    for inset, code in ((0, 0), (_LINE_PX, 255)):
        low, high = inset, inset + _LINE_PX
        marked[top + low : top + high, left + low : right - low] = code
        marked[max(0, bottom - high) : bottom - low, left + low : right - low] = code
        marked[top + low : bottom - low, left + low : left + high] = code
        marked[top + low : bottom - low, max(0, right - high) : right - low] = code
    return marked
