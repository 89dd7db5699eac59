"""The colour of a lamp from frame to frame: red and blue against green."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.codes import Image
from glimsum_workers.engine.level.cells import differ
from glimsum_workers.engine.level.compare import Compared
from glimsum_workers.engine.level.pairs import Pair, join_pairs
from glimsum_workers.engine.robust import robust_mean

_FEWEST_CELLS = 60


@dataclass(frozen=True)
class Colours:
    """Colour of the light on each frame of a pass, against its median.

    Attributes
    ----------
    red, blue : float64 array, (frames,)
        Red and blue over green; 1 where not trusted.
    sigma : float64 array, (frames,)
        Standard error of their logarithms, the larger of both; inf where not trusted.
    """

    red: NDArray[np.float64]
    blue: NDArray[np.float64]
    sigma: NDArray[np.float64]


def solve_colours(
    compared: Compared,
    pictures: Sequence[Image],
    *,
    anchor: int | None = None,
    worst_sigma: float = 0.02,
) -> Colours:
    """Return how the colour of a pass changes from frame to frame.

    Parameters
    ----------
    compared : Compared
        Of the same frames: says what moved where, and which cells hold light.
    pictures : sequence of Image, (rows, columns, 3)
        Cell means of all frames, ambient removed, scene-linear in the camera's own primaries:
        there white balance is a gain a channel.
    anchor : int, optional
        Index whose colour is kept; default: the median of the trusted frames.
    worst_sigma : float
        A ratio with a larger standard error (of its logarithm) is not trusted.

    Returns
    -------
    Colours
        Texture, parallax and level are the same in all channels and cancel: on rendered moving
        passes a ramp of 6 % put in came back to 0.1 % (rms).

    Notes
    -----
    Pairs are joined as levels are (`pairs.join_pairs`). Coloured lamps that fade against each
    other change the colour of a pass too; that can't be told from white balance.
    """
    count, lit = len(compared.means), compared.frames
    red, blue = np.ones(count), np.ones(count)
    sigma = np.full(count, np.inf)
    if len(lit) < 2:
        return Colours(red, blue, sigma)
    lights = [pictures[i] for i in lit]
    found = [_compare(compared, lights, pair) for pair in compared.pairs]
    logs_red, errors_red = join_pairs([each[0] for each in found], len(lit))
    logs_blue, errors_blue = join_pairs([each[1] for each in found], len(lit))
    errors = np.maximum(errors_red, errors_blue)
    good = errors <= worst_sigma
    if not good.any():
        return Colours(red, blue, sigma)
    sigma[lit[good]] = errors[good]
    held = lit == anchor
    for logs, told in ((logs_red, red), (logs_blue, blue)):
        base = logs[held][0] if held.any() else np.median(logs[good])
        told[lit[good]] = np.exp(logs[good] - base)
    return Colours(red, blue, sigma)


def _compare(compared: Compared, lights: Sequence[Image], pair: Pair) -> tuple[Pair, Pair]:
    """Return the change of ln red / green and ln blue / green of two frames."""
    first, second = pair.first, pair.second
    usable = compared.valid[first] & compared.valid[second]
    told = [
        differ(
            lights[first][..., channel],
            lights[second][..., channel],
            usable,
            compared.doubt,
            compared.motions[first, second],
        )
        for channel in range(3)
    ]
    ratios = []
    for channel in (0, 2):
        left = told[channel][0] - told[1][0]
        weight = np.minimum(told[channel][1], told[1][1])
        use = weight > 0.05
        if np.count_nonzero(use) < _FEWEST_CELLS:
            ratios.append(Pair(first, second, 0.0, np.inf))
            continue
        ratio, sigma = robust_mean(left[use], weight[use])
        # Neighbouring cells share what the warp and the codec do to them.
        ratios.append(Pair(first, second, ratio, 3.0 * sigma))
    return ratios[0], ratios[1]
