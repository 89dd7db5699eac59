"""Prepared pictures and registrations in the forms in which they are kept and sent on."""

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.tracks import Placed, Registered
from glimsum_workers.engine.motion import Affine, Motion, Registration
from glimsum_workers.engine.nearness import Nearness
from glimsum_workers.engine.registration.bands import Band
from glimsum_workers.engine.registration.noise import Noise
from glimsum_workers.engine.registration.prepared import Level, Prepared

Arrays = dict[str, NDArray[Any]]


def as_arrays(ready: Prepared) -> Arrays:
    """Return a prepared picture as arrays by name, masks eight pixels a byte."""
    arrays: Arrays = {
        "size": np.asarray(ready.size),
        "noise": np.asarray([ready.noise.gain, ready.noise.read]),
        "detail": np.asarray([ready.detail.last_box, ready.detail.noise]),
        "factors": np.asarray([level.factor for level in ready.levels]),
    }
    for index, level in enumerate(ready.levels):
        arrays[f"band{index}"] = level.band
        if level.valid is not None:
            arrays[f"valid{index}"] = np.packbits(level.valid, axis=1)
    return arrays


def as_prepared(arrays: Mapping[str, NDArray[Any]]) -> Prepared:
    """Return the prepared picture that `as_arrays` took apart."""
    height, width = (int(side) for side in arrays["size"])
    gain, read = (float(value) for value in arrays["noise"])
    levels = tuple(
        Level(arrays[f"band{index}"], _mask(arrays, index), int(factor))
        for index, factor in enumerate(arrays["factors"])
    )
    last_box, noise = arrays["detail"]
    return Prepared((height, width), levels, Noise(gain, read), Band(int(last_box), float(noise)))


def _mask(arrays: Mapping[str, NDArray[Any]], index: int) -> NDArray[np.bool_] | None:
    packed = arrays.get(f"valid{index}")
    if packed is None:
        return None
    width = arrays[f"band{index}"].shape[1]
    return np.unpackbits(packed, axis=1, count=width).view(np.bool_)


def nearness_arrays(nearness: Nearness) -> Arrays:
    """Return how near a frame's places are as arrays by name."""
    return {
        "plane": nearness.plane,
        "factor": np.asarray(nearness.factor),
        "size": np.asarray(nearness.size),
        "travel": np.asarray(nearness.travel_px),
        "reason": np.asarray(nearness.reason),
    }


def as_nearness(arrays: Mapping[str, NDArray[Any]]) -> Nearness:
    """Return the nearness that `nearness_arrays` took apart."""
    height, width = (int(side) for side in arrays["size"])
    x, y = (float(value) for value in arrays["travel"])
    factor, reason = int(arrays["factor"]), str(arrays["reason"])
    return Nearness(arrays["plane"], factor, (height, width), (x, y), reason)


def as_registered(found: Registration, travel_px: tuple[float, float] | None = None) -> Registered:
    """Return a registration as plain values; what is not known is None there, not infinite.

    `travel_px` is that of the nearness its parallax was fitted over.
    """
    motion = nearest_similarity(found.motion)
    near = math.isfinite(found.parallax_sigma_px)
    return Registered(
        dx=motion.dx,
        dy=motion.dy,
        rotation_deg=motion.rotation_deg,
        scale=motion.scale,
        matrix=found.motion.matrix if isinstance(found.motion, Affine) else None,
        parallax=motion.parallax if near else None,
        parallax_sigma_px=found.parallax_sigma_px if near else None,
        parallax_pull=found.parallax_pull if near else (),
        travel_px=travel_px if near else None,
        sigma_px=found.sigma_px if math.isfinite(found.sigma_px) else None,
        corner_sigma_px=found.corner_sigma_px if math.isfinite(found.corner_sigma_px) else None,
        trusted=found.trusted,
        alarm=found.alarm if math.isfinite(found.alarm) else 0.0,
        reason=found.reason,
    )


def as_registration(told: Registered) -> Registration:
    """Return the registration that `as_registered` wrote down, without its tiles."""
    near = told.parallax_sigma_px is not None
    return Registration(
        motion=motion_of(told),
        parallax_sigma_px=math.inf if told.parallax_sigma_px is None else told.parallax_sigma_px,
        parallax_pull=told.parallax_pull if near else (0.0,) * 8,
        sigma_px=math.inf if told.sigma_px is None else told.sigma_px,
        corner_sigma_px=math.inf if told.corner_sigma_px is None else told.corner_sigma_px,
        trusted=told.trusted,
        alarm=told.alarm,
        tiles=np.zeros((0, 5), np.float32),
        reason=told.reason,
    )


def motion_of(told: Registered | Placed) -> Motion | Affine:
    """Return the motion that plain values tell."""
    if told.matrix is not None:
        return Affine(told.dx, told.dy, told.matrix)
    parallax = told.parallax or (0.0, 0.0)
    return Motion(told.dx, told.dy, told.rotation_deg, told.scale, parallax)


def nearest_similarity(motion: Motion | Affine) -> Motion:
    """Return the shift, rotation and scale nearest to a motion, by least squares."""
    if isinstance(motion, Motion):
        return motion
    (xx, xy), (yx, yy) = motion.matrix
    grown, turned = (xx + yy) / 2, (yx - xy) / 2
    angle = math.degrees(math.atan2(turned, grown))
    return Motion(motion.dx, motion.dy, angle, math.hypot(grown, turned))
