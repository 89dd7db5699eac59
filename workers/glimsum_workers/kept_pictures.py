"""Prepared pictures and registrations in the forms in which they are kept and sent on."""

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.tracks import Registered
from glimsum_workers.engine.motion import Affine, Motion, Registration
from glimsum_workers.engine.registration.noise import Noise
from glimsum_workers.engine.registration.prepared import Level, Prepared

Arrays = dict[str, NDArray[Any]]


def as_arrays(ready: Prepared) -> Arrays:
    """Return a prepared picture as arrays by name."""
    arrays: Arrays = {
        "size": np.asarray(ready.size),
        "noise": np.asarray([ready.noise.gain, ready.noise.read]),
        "factors": np.asarray([level.factor for level in ready.levels]),
    }
    for index, level in enumerate(ready.levels):
        arrays[f"band{index}"] = level.band
        if level.valid is not None:
            arrays[f"valid{index}"] = level.valid
    return arrays


def as_prepared(arrays: Mapping[str, NDArray[Any]]) -> Prepared:
    """Return the prepared picture that `as_arrays` took apart."""
    height, width = (int(side) for side in arrays["size"])
    gain, read = (float(value) for value in arrays["noise"])
    levels = tuple(
        Level(arrays[f"band{index}"], arrays.get(f"valid{index}"), int(factor))
        for index, factor in enumerate(arrays["factors"])
    )
    return Prepared((height, width), levels, Noise(gain, read))


def as_registered(found: Registration) -> Registered:
    """Return a registration as plain values; what is not known is None there, not infinite."""
    motion = found.motion
    if isinstance(motion, Affine):
        raise TypeError("an affine registration has no rotation and scale of its own")
    return Registered(
        dx=motion.dx,
        dy=motion.dy,
        rotation_deg=motion.rotation_deg,
        scale=motion.scale,
        sigma_px=found.sigma_px if math.isfinite(found.sigma_px) else None,
        corner_sigma_px=found.corner_sigma_px if math.isfinite(found.corner_sigma_px) else None,
        trusted=found.trusted,
        alarm=found.alarm if math.isfinite(found.alarm) else 0.0,
        reason=found.reason,
    )


def as_registration(told: Registered) -> Registration:
    """Return the registration that `as_registered` wrote down, without its tiles."""
    return Registration(
        motion=Motion(told.dx, told.dy, told.rotation_deg, told.scale),
        sigma_px=math.inf if told.sigma_px is None else told.sigma_px,
        corner_sigma_px=math.inf if told.corner_sigma_px is None else told.corner_sigma_px,
        trusted=told.trusted,
        alarm=told.alarm,
        tiles=np.zeros((0, 5), np.float32),
        reason=told.reason,
    )
