"""What other passes of the shot say of a pass that can't be measured itself."""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.drift.series import Series, as_row
from glimsum_workers.engine.drift.track import Track

Numbers = NDArray[np.float64]


def borrow_series(
    frames: Sequence[int], neighbours: Mapping[str, Track], size: tuple[int, int]
) -> Series:
    """Take the mean drift of other passes, with a sigma as wide as they differ.

    Parameters
    ----------
    frames : sequence of int
        Rising.
    neighbours : mapping of str to Track
        Other passes of the shot by name; only their trusted frames are looked at.
    size : tuple of int
        (height, width) of the picture, pixels.

    Returns
    -------
    Series
        A frame is known where one other pass is. The variance of a frame is the variance among
        the passes with one more drawn from them, plus their own; a single pass is compared with
        no drift at all, since nothing says that the two passes were off alike.
    """
    values, sigma = np.zeros((len(frames), 6)), np.full((len(frames), 6), np.inf)
    for place, frame in enumerate(frames):
        rows, variances = _neighbours_at(frame, neighbours, size)
        if len(rows) == 0:
            continue
        values[place] = rows.mean(axis=0)
        among = np.square(rows[0]) if len(rows) == 1 else rows.var(axis=0, ddof=1)
        # The passes differ in direction, too: dx and dy share their variance, so does the turn.
        shared = np.repeat([among[:2].mean(), among[2:].mean()], [2, 4])
        sigma[place] = np.sqrt(shared * (1 + 1 / len(rows)) + variances.mean(axis=0))
    return Series(tuple(frames), values, sigma, np.isfinite(sigma[:, 0]))


def _neighbours_at(
    frame: int, neighbours: Mapping[str, Track], size: tuple[int, int]
) -> tuple[Numbers, Numbers]:
    rows, variances = [], []
    for track in neighbours.values():
        place = track.frames.index(frame) if frame in track.frames else -1
        if place >= 0 and track.trusted[place]:
            rows.append(as_row(track.motions[place], size))
            centre, corner = track.sigma_px[place], track.corner_sigma_px[place]
            turn = max(corner**2 - centre**2, 0.0)
            variances.append(np.repeat([centre**2, turn], [2, 4]))
    return np.array(rows).reshape(-1, 6), np.array(variances).reshape(-1, 6)
