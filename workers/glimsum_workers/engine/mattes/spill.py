"""Light of the backing that spills on to a solid set, taken out of its coverage."""

import numpy as np

from glimsum_workers.engine.codes import Plane
from glimsum_workers.engine.mattes.grow import grow
from glimsum_workers.engine.mattes.soften import soften

_EDGE_PX = 2.0
"""How far from the backing a pixel may be partly set."""
_NEAR_PX = 2.0
"""Standard deviation of how far the spill at an edge is taken from."""
_MOST = 0.5
"""Share of the backing's light a set may show; more is backing."""
_KNOWN = 1e-3


def without_spill(raw: Plane) -> Plane:
    """Return the coverage of a solid set as if the backing had spilled no light on it.

    Parameters
    ----------
    raw : Plane, (height, width)
        ``1 - (S - B) / (W - B)`` as computed, noise outside 0..1 included.

    Returns
    -------
    Plane
        1 more than 2 pixels inside the contour of 0.5. Nearer to it, with f the share of the
        backing's light that the set shows beyond those 2 pixels (weighed by a Gaussian of 2
        pixels), ``raw / (1 - f)``; not held to 0..1. Threads and specks without such an inside
        stay as they are.

    Notes
    -----
    The definition of coverage solved for a set that gives the light f W of its own:
    S = coverage * f * W + (1 - coverage) * W. Nets, glass and smoke are no solid set: this
    fills them. Where the set mirrors more than half of the backing's light it is taken for
    backing.
    """
    backing = (raw <= 1 - _MOST).astype(np.float32)
    inside = grow(backing, _EDGE_PX) < 0.5
    told = inside.astype(np.float32)
    weight = soften(told, _NEAR_PX)
    spilled = soften(told * np.clip(1 - raw, 0, _MOST), _NEAR_PX)
    share = np.divide(spilled, weight, out=np.zeros_like(weight), where=weight > _KNOWN)
    solid = np.asarray(raw / (1 - share), dtype=np.float32)
    solid[inside] = 1
    return solid
