"""The quay of `clutter` in light: paint, relief, lamps with shadows, and haze."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, map_coordinates

from support.clutter import Box, Floats, Hits, Stock, View, as_vector, build_quay, cast, look

LAMPS = ("full", "side", "practicals", "flash", "fog", "matte")
TOWARDS = ((-0.5, 0.8, -0.5), (0.7, 0.5, -0.4), (-0.92, 0.28, -0.15), (0.35, 0.5, 0.75))
"""Directions to the two full lamps, the side lamp and the flash."""
EYE, AT = (0.0, 0.55, -0.15), (0.0, 0.16, 1.6)
"""Where the camera of `light_quay` stands and what it looks at, metres."""


@dataclass(frozen=True)
class Quay:
    """A lit scene on a fine grid, twice the picture's, before the lens: linear light, (h, w)."""

    light: dict[str, Floats]
    depth: Floats


def light_quay(
    seed: int,
    size: tuple[int, int],
    *,
    stock: Stock = "mixed",
    grooves: float = 0.0,
    moved: tuple[float, float, float] = (0.0, 0.0, 0.0),
) -> Quay:
    """Cast and light the quay.

    Parameters
    ----------
    seed : int
        Of geometry and paint.
    size : tuple of int
        (height, width) of the fine grid.
    stock : Stock
        What most of the quay is made of.
    grooves : float
        0: paint has nothing to do with relief; 1: hollows are painted dark.
    moved : tuple of float
        Displacement of the camera, metres.
    """
    eye, at = ([a + b for a, b in zip(p, moved, strict=True)] for p in (EYE, AT))
    view = look((eye[0], eye[1], eye[2]), (at[0], at[1], at[2]), 1.35 * size[1], size)
    return light_view(seed, view, stock=stock, grooves=grooves)


def light_view(
    seed: int,
    view: View,
    *,
    stock: Stock = "mixed",
    grooves: float = 0.0,
    lamps: Sequence[str] = LAMPS,
) -> Quay:
    """Cast and light the quay as it is seen from anywhere, by some lamps (see `light_quay`)."""
    boxes = tuple(build_quay(seed, stock))
    hits = cast(view, list(boxes))
    paint, normal = _surface(hits, seed, grooves)
    depth = hits.distance

    @cache
    def sun(number: int) -> Floats:
        return _lamp(hits, normal, boxes, TOWARDS[number])

    @cache
    def full() -> Floats:
        ambient = 0.12 + 0.08 * normal[..., 1]
        return np.asarray(paint * (ambient + 0.5 * sun(0) + 0.25 * sun(1)), dtype=np.float32)

    def practicals() -> NDArray[np.floating]:
        surfaces, glow = _bulbs(view, hits, normal, seed)
        return paint * surfaces + glow

    lit: dict[str, Callable[[], NDArray[np.floating]]] = {
        "full": full,
        "side": lambda: paint * (0.004 + 0.7 * sun(2)),
        "practicals": practicals,
        "flash": lambda: paint * (0.01 + 2.2 * sun(3)) + 1.2 * _shine(view, normal, TOWARDS[3]),
        "fog": lambda: full() * np.exp(-1.25 * depth),
        "matte": lambda: _backing(hits, paint),
    }
    return Quay({name: np.asarray(lit[name](), dtype=np.float32) for name in lamps}, depth)


def _backing(hits: Hits, paint: Floats) -> Floats:
    """Return a bright even wall behind everything; what stands before it is a silhouette."""
    behind = hits.place[..., 2] > 2.5
    rows, columns = hits.distance.shape
    across, down = np.meshgrid(np.linspace(-1, 1, columns), np.linspace(-1, 1, rows))
    wall = 0.8 * (1 - 0.15 * across**2 - 0.1 * down)
    return np.where(behind, wall, 0.006 * paint).astype(np.float32)


def smoke(seed: int, size: tuple[int, int]) -> Floats:
    """Return drifting smoke, (h, w), soft and without any tie to the scene."""
    random = np.random.default_rng(seed)
    small = gaussian_filter(random.standard_normal((size[0] // 8, size[1] // 8)), 5, mode="wrap")
    small = small / small.std()
    rows, columns = np.mgrid[: size[0], : size[1]] / 8.0
    soft = map_coordinates(small, [rows, columns], order=1, mode="nearest")
    return np.asarray(0.02 * np.exp(0.5 * soft), dtype=np.float32)


def _surface(hits: Hits, seed: int, grooves: float) -> tuple[Floats, Floats]:
    """Return paint (0..1) and the normals with relief."""
    u, v, along_u, along_v = _surface_axes(hits)
    step = np.float32(4e-4)

    def height(a: Floats, b: Floats) -> Floats:
        rough = _noise(a * 160, b * 160, seed) + 0.5 * _noise(a * 330, b * 330, seed + 1)
        planks = np.where(hits.kind == 2, -1.5 * np.exp(-((np.mod(b, 0.022) / 0.002) ** 2)), 0)
        iron = np.where(hits.kind == 1, 2.0 * np.sin(a * 420), 0)
        return np.asarray(rough + planks + iron, dtype=np.float32)

    # Central differences: one-sided ones would move the shading against the paint.
    slope_u = (height(u + step, v) - height(u - step, v)) * np.float32(0.35)
    slope_v = (height(u, v + step) - height(u, v - step)) * np.float32(0.35)
    normal = hits.normal - slope_u[..., None] * along_u - slope_v[..., None] * along_v
    normal /= np.linalg.norm(normal, axis=-1, keepdims=True)
    coat = 0.35 + 0.14 * _noise(u * 35, v * 35, seed + 2) + 0.1 * _noise(u * 240, v * 240, seed + 3)
    coat += 0.05 * _noise(u * 520, v * 520, seed + 4) + 0.1 * (hits.kind == 3)
    if grooves:
        coat = coat * (1 + grooves * 0.35 * np.tanh(height(u, v)))
    return np.clip(coat, 0.03, 0.95).astype(np.float32), np.asarray(normal, dtype=np.float32)


def _surface_axes(hits: Hits) -> tuple[Floats, Floats, Floats, Floats]:
    """Return two coordinates on each surface, metres, and their directions."""
    up = hits.normal[..., 1] > 0.9
    across = np.stack(
        [hits.normal[..., 2], np.zeros_like(hits.distance), -hits.normal[..., 0]], axis=-1
    )
    along_u = np.where(up[..., None], as_vector(1, 0, 0), across)
    along_v = np.where(up[..., None], as_vector(0, 0, 1), as_vector(0, 1, 0))
    u = np.sum(hits.place * along_u, axis=-1) + np.float32(7) + hits.kind * np.float32(3.1)
    v = np.sum(hits.place * along_v, axis=-1) + np.float32(5)
    return (u.astype(np.float32), v.astype(np.float32), along_u.astype(np.float32),
            along_v.astype(np.float32))  # fmt: skip


def _noise(u: Floats, v: Floats, seed: int) -> Floats:
    """Return smooth random values about 0, one lattice cell to a unit."""
    table = np.random.default_rng(seed).uniform(-1, 1, (256, 256)).astype(np.float32)
    left, top = np.floor(u), np.floor(v)
    x, y = u - left, v - top
    x, y = x * x * (3 - 2 * x), y * y * (3 - 2 * y)
    i, j = left.astype(np.int32) & 255, top.astype(np.int32) & 255
    k, m = (i + 1) & 255, (j + 1) & 255
    upper = table[j, i] * (1 - x) + table[j, k] * x
    lower = table[m, i] * (1 - x) + table[m, k] * x
    return np.asarray(upper * (1 - y) + lower * y, dtype=np.float32)


def _lamp(
    hits: Hits, normal: Floats, boxes: tuple[Box, ...], towards: tuple[float, float, float]
) -> Floats:
    """Return the light of a far lamp, hard shadows included (found from the lamp's own view)."""
    direction = as_vector(*towards) / np.float32(np.linalg.norm(towards))
    view, seen = _seen_by_lamp(boxes, towards)
    flat = hits.place.reshape(-1, 3)
    places = view.project(flat) - np.float32(0.5)
    reach = (flat - view.origin) @ view.axes[2]
    known = map_coordinates(seen, [places[:, 1], places[:, 0]], order=0, mode="nearest")
    lit = (reach < known + 0.02).reshape(hits.distance.shape)
    facing = np.maximum(np.sum(normal * direction, axis=-1), 0)
    return np.asarray(
        facing * lit * (np.sum(hits.normal * direction, axis=-1) > 0), dtype=np.float32
    )


@lru_cache(maxsize=8)
def _seen_by_lamp(
    boxes: tuple[Box, ...], towards: tuple[float, float, float]
) -> tuple[View, Floats]:
    """Return a far lamp's own view and the distances in it, the same wherever the camera is."""
    direction = as_vector(*towards) / np.float32(np.linalg.norm(towards))
    start = 6 * direction + as_vector(0, 0.2, 1.5)
    view = look(
        (float(start[0]), float(start[1]), float(start[2])), (0.0, 0.2, 1.5), 300.0, (1100, 1100),
        parallel=True,
    )  # fmt: skip
    return view, cast(view, list(boxes)).distance


def _bulbs(view: View, hits: Hits, normal: Floats, seed: int) -> tuple[Floats, Floats]:
    """Return the light of twelve bulbs on the surfaces, and the bulbs themselves."""
    random = np.random.default_rng(seed + 77)
    total, glow = np.zeros_like(hits.distance), np.zeros_like(hits.distance)
    rows, columns = np.mgrid[: view.size[0], : view.size[1]].astype(np.float32) + np.float32(0.5)
    for _ in range(12):
        place = as_vector(
            random.uniform(-0.8, 0.8), random.uniform(0.2, 0.4), random.uniform(0.9, 2)
        )
        ray = place - hits.place
        square = np.sum(ray * ray, axis=-1) + np.float32(1e-3)
        facing = np.maximum(np.sum(ray * normal, axis=-1), 0) / np.sqrt(square)
        total += np.float32(0.02) * facing / square
        x, y = view.project(place[None])[0]
        size = 0.006 * view.focal / float((place - view.origin) @ view.axes[2])
        glow += np.float32(20) * ((columns - x) ** 2 + (rows - y) ** 2 < size**2)
    return np.asarray(total, np.float32), np.asarray(glow, np.float32)


def _shine(view: View, normal: Floats, towards: tuple[float, float, float]) -> Floats:
    start, along = view.rays(slice(0, view.size[0]), slice(0, view.size[1]))
    del start
    half = as_vector(*towards) / np.linalg.norm(towards) - along / np.linalg.norm(
        along, axis=-1, keepdims=True
    )
    half /= np.linalg.norm(half, axis=-1, keepdims=True)
    return np.asarray(np.maximum(np.sum(half * normal, axis=-1), 0) ** 40, dtype=np.float32)
