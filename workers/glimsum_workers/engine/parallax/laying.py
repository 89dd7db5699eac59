"""A motion laid over the nearness of a frame: a displacement for every pixel."""

import numpy as np

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.motion import Motion
from glimsum_workers.engine.nearness import Nearness
from glimsum_workers.engine.resample.resample import Field


def lay_field(motion: Motion, nearness: Nearness) -> Field:
    """Lay a motion with parallax over how near things are.

    Parameters
    ----------
    motion : Motion
        Where a pass shows places of the reference that are at mean distance, and its parallax.
    nearness : Nearness
        Of the reference's frame.

    Returns
    -------
    Field, (height, width, 2)
        What is to be added to every place of the reference, pixels; as for `resample`.

    Raises
    ------
    LightError
        The nearness can't be used.
    """
    if nearness.reason:
        raise LightError(
            "The parallax of a pass can't be taken out: nothing tells near from far",
            seen=nearness.reason,
            expected="a frame whose measured nearness the parallax was fitted over",
            remedy="Measure the shot again, or state align: similarity.",
        )
    height, width = nearness.size
    turn = motion.turn() - np.eye(2)
    x = (np.arange(width) + 0.5 - width / 2).astype(np.float32)
    y = (np.arange(height)[:, None] + 0.5 - height / 2).astype(np.float32)
    near = nearness.full()
    field = np.empty((height, width, 2), np.float32)
    for axis, shift in enumerate((motion.dx, motion.dy)):
        across, down = (np.float32(each) for each in turn[axis])
        field[..., axis] = across * x + down * y + np.float32(shift)
        field[..., axis] += np.float32(motion.parallax[axis]) * near
    return field
