"""How near every place of a frame is, told by the frames before and after of a moving camera."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.codes import Plane
from glimsum_workers.engine.motion import Affine
from glimsum_workers.engine.nearness import Nearness, enlarge_plane
from glimsum_workers.engine.parallax.depth import (
    Beside,
    fit_beside,
    places_of,
    refine_nearness,
)
from glimsum_workers.engine.parallax.flow import Flow, find_flow
from glimsum_workers.engine.parallax.travel import (
    Travel,
    find_travel,
    travel_vectors,
    turn_columns,
)
from glimsum_workers.engine.registration.prepared import Level, Prepared
from glimsum_workers.engine.registration.register import register

Numbers = NDArray[np.float64]

LEAST_PARALLAX_PX = 0.25
"""Deviation of near against far from frame to frame, below which nearness is mostly noise."""
_LEAST_OVER_SCATTER = 4.0
"""Parallax over what is left across it: 13 to 35 on the harbour; at 3, under a slow push in, the
way of the camera was misread (measured)."""
_FINEST = 1
"""Level at which nearness is found; half the size of the picture (a quarter at 4K) is enough."""
_BLIND = 0.05
"""Share of the mean square of the travel's vectors below which a place hardly tells."""
_SAMPLES = 2000
_MOST_DEVIATIONS = 4.0


def find_nearness(still: Prepared, after: Prepared | None, before: Prepared | None) -> Nearness:
    """Find how near every place of a frame is.

    Parameters
    ----------
    still : Prepared
        A frame of a pass whose camera moves.
    after, before : Prepared or None
        The frames beside it, same light, same size; at either end of the shot there is only one.

    Returns
    -------
    Nearness
        With `reason` where the camera only turned, stood still, or shows nothing. On the harbour
        (frames 3 to 5 px apart) correlated with the true inverse distance by 0.97 to 0.98.

    Notes
    -----
    Displacements are found on the coarsest level; the camera's turn and way explain them, and
    what a place moves along the way is its nearness, refined on finer levels from all frames
    beside at once. The focal length need not be known.
    """
    beside = [each for each in (after, before) if each is not None]
    if not beside:
        return _nothing(still, "there is no frame beside it")
    level = still.levels[-1]
    places = places_of(level, still.size)
    flows = []
    for other in beside:
        common = register(still, other, model="shift", same_light=True)
        if not common.trusted or isinstance(common.motion, Affine):
            return _nothing(still, f"the frames beside don't fit it: {common.reason}")
        flows.append(find_flow(level, other.levels[-1], common.motion, still.size))
    every = _sampling(level)
    told = [_displacements(flow, level.factor) for flow in flows]
    weights = _weights(flows)
    mean = (told[0] - told[1]) / 2 if len(told) > 1 else told[0]
    travel = find_travel(_flat(places[every]), _flat(mean[every]), weights[every].ravel())
    vectors = travel_vectors(places, travel.bearing, travel.forward)
    length2 = np.sum(vectors**2, axis=-1)
    left = np.sum((mean - turn_columns(places) @ travel.turn) * vectors, axis=-1)
    parallax = float(_deviation(left / np.sqrt(length2 + 1e-6), weights))
    if parallax < LEAST_PARALLAX_PX or parallax < _LEAST_OVER_SCATTER * travel.scatter_px:
        why = (
            f"near and far move by {parallax:.2f} px against each other from frame to frame, "
            f"{max(LEAST_PARALLAX_PX, _LEAST_OVER_SCATTER * travel.scatter_px):.2f} wanted"
        )
        return _nothing(still, why)
    nearness = left / (length2 + _BLIND * length2.mean())
    moves = [
        fit_beside(
            _flat(places[every]),
            _flat(each[every]),
            weights[every].ravel(),
            nearness[every].ravel(),
            travel,
        )
        for each in told
    ]
    found = _finish(still, beside, moves, np.asarray(nearness, np.float32), travel)
    if after is not None:
        return found
    return replace(found, travel_px=(-found.travel_px[0], -found.travel_px[1]))


def _finish(
    still: Prepared,
    beside: Sequence[Prepared],
    moves: Sequence[Beside],
    nearness: Plane,
    travel: Travel,
) -> Nearness:
    finest = min(_FINEST, len(still.levels) - 1)
    for number in range(len(still.levels) - 1, finest - 1, -1):
        level = still.levels[number]
        others = [(each.levels[number], move) for each, move in zip(beside, moves, strict=True)]
        start = _doubled(nearness, level.band.shape)
        nearness = refine_nearness(level, others, start, travel, still.size)
    level = still.levels[finest]
    plane = nearness - np.median(nearness)
    plane -= np.clip(plane, *_limits(plane)).mean()
    deviation = float(np.clip(plane, *_limits(plane)).std())
    lower, upper = plane[plane.shape[0] // 2 :], plane[: plane.shape[0] // 2]
    if lower.mean() < upper.mean():
        deviation = -deviation
    plane = np.clip(plane / deviation, -_MOST_DEVIATIONS, _MOST_DEVIATIONS)
    aside = travel_vectors(np.zeros(2), travel.bearing, travel.forward)
    x, y = (aside * moves[0].way * deviation).tolist()
    return Nearness(plane.astype(np.float16), level.factor, still.size, (x, y))


def _limits(plane: Plane) -> tuple[float, float]:
    low, high = np.percentile(plane, [0.5, 99.5])
    return float(low), float(high)


def _doubled(plane: Plane, shape: tuple[int, ...]) -> Plane:
    """Return a plane of the next coarser level at the size of this one (or itself)."""
    if plane.shape == shape:
        return plane
    return enlarge_plane(plane, (shape[0], shape[1]), 2)


def _displacements(flow: Flow, factor: int) -> Numbers:
    return np.stack([flow.across, flow.down], axis=-1).astype(np.float64) * factor


def _weights(flows: Sequence[Flow]) -> Numbers:
    """Return how well places are known; the few that know most don't outvote all others."""
    told = np.asarray(sum(flow.information for flow in flows), dtype=np.float64)
    return np.minimum(told, 4 * float(np.median(told)) + 1e-6) + 1e-9


def _sampling(level: Level) -> tuple[slice, slice]:
    step = max(int(np.sqrt(level.band.size / _SAMPLES)), 1)
    return slice(step // 2, None, step), slice(step // 2, None, step)


def _flat(values: Numbers) -> Numbers:
    return values.reshape(-1, values.shape[-1])


def _deviation(values: Numbers, weights: Numbers) -> float:
    mean = float(np.average(values, weights=weights))
    return float(np.sqrt(np.average((values - mean) ** 2, weights=weights)))


def _nothing(still: Prepared, reason: str) -> Nearness:
    level = still.levels[min(_FINEST, len(still.levels) - 1)]
    plain = np.zeros(level.band.shape, dtype=np.float16)
    return Nearness(plain, level.factor, still.size, (0.0, 0.0), reason)
