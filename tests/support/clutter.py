"""A cluttered quay, cast ray by ray: crates, ropes, nets and corrugated iron, in units of a metre.

The geometry only: what each ray meets, where, and how the surface lies. Nothing here comes from the
product; the truth about a motion is the camera itself.
"""

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float32]

FAR = np.float32(1e9)

Stock = Literal["mixed", "crates", "nets", "ropes", "iron", "iron wall"]
"""What most of the quay is made of; `iron wall` is corrugated iron that fills the picture."""
_COUNTS: dict[Stock, tuple[int, int, int]] = {
    "mixed": (42, 16, 5),
    "crates": (90, 6, 1),
    "nets": (14, 8, 18),
    "ropes": (16, 70, 1),
    "iron": (48, 6, 1),
    "iron wall": (0, 3, 0),
}
"""Crates, ropes or posts, nets."""


@dataclass(frozen=True)
class Box:
    """A box standing on the quay, turned about the vertical; `kind` chooses its surface."""

    centre: tuple[float, float, float]
    half: tuple[float, float, float]
    turn: float
    kind: int


@dataclass(frozen=True)
class View:
    """Rays on a grid: from one point (perspective) or all alike (orthographic).

    `axes` are right, down and forward; a ray through grid place (x, y) has direction
    ``forward + (x - cx) / focal * right + (y - cy) / focal * down``, or starts there.
    """

    origin: Floats
    axes: Floats
    focal: float
    size: tuple[int, int]
    parallel: bool = False

    def project(self, points: NDArray[np.floating]) -> NDArray[np.floating]:
        """Return the grid places x, y of points (n, 3)."""
        local = (points - self.origin) @ self.axes.T
        depth = np.ones_like(local[:, 2]) if self.parallel else np.maximum(local[:, 2], 1e-3)
        centre = np.array([self.size[1] / 2, self.size[0] / 2], dtype=np.float32)
        return np.asarray(local[:, :2] / depth[:, None] * self.focal + centre, dtype=np.float32)

    def rays(self, rows: slice, columns: slice) -> tuple[Floats, Floats]:
        """Return origins and directions of a rectangle of the grid, (rows, columns, 3) each."""
        y, x = np.meshgrid(
            (np.arange(rows.start, rows.stop) + 0.5 - self.size[0] / 2) / self.focal,
            (np.arange(columns.start, columns.stop) + 0.5 - self.size[1] / 2) / self.focal,
            indexing="ij",
        )
        across = (x[..., None] * self.axes[0] + y[..., None] * self.axes[1]).astype(np.float32)
        if self.parallel:
            return self.origin + across, np.broadcast_to(self.axes[2], across.shape)
        return np.broadcast_to(self.origin, across.shape), across + self.axes[2]


@dataclass
class Hits:
    """What each ray meets: distance along it, place (h, w, 3), normal (h, w, 3), surface number."""

    distance: Floats
    normal: Floats
    kind: NDArray[np.int8]
    place: Floats = field(default_factory=lambda: np.zeros(0, np.float32))


def look(
    origin: tuple[float, float, float],
    towards: tuple[float, float, float],
    focal: float,
    size: tuple[int, int],
    *,
    parallel: bool = False,
) -> View:
    """Return a level view from `origin` towards a point; y is up in the world."""
    start = np.asarray(origin, dtype=np.float64)
    forward = np.asarray(towards, dtype=np.float64) - start
    forward /= np.linalg.norm(forward)
    right = np.cross([0.0, 1.0, 0.0], forward)
    right /= np.linalg.norm(right)
    axes = np.stack([right, -np.cross(forward, right), forward])
    return View(start.astype(np.float32), axes.astype(np.float32), focal, size, parallel)


def build_quay(seed: int, stock: Stock = "mixed") -> list[Box]:
    """Return crates, bollards, nets and sheds at random places, most of what `stock` says."""
    random = np.random.default_rng(seed)
    crates, ropes, nets = _COUNTS[stock]
    boxes = [Box((0.0, 0.45, 2.6), (3.0, 0.45, 0.05), 0.0, 1)]
    if stock == "iron wall":
        boxes.append(Box((0.0, 0.0, 1.25), (3.0, 3.0, 0.03), -float(random.uniform(0.15, 0.3)), 1))
    for x in (-0.9, 0.75):
        boxes.append(Box((x, 0.2, 2.0), (0.3, 0.22, 0.2), float(random.uniform(-0.3, 0.3)), 1))
    for _ in range(crates):
        half = random.uniform([0.03, 0.02, 0.03], [0.1, 0.08, 0.1])
        place = (random.uniform(-0.95, 0.95), float(half[1]), random.uniform(0.75, 2.2))
        kind = 1 if stock == "iron" else 2
        boxes.append(Box(place, tuple(half), float(random.uniform(-0.8, 0.8)), kind))
    for _ in range(ropes):  # and posts
        tall = float(random.uniform(0.06, 0.3))
        place = (random.uniform(-0.9, 0.9), tall, random.uniform(0.8, 2.1))
        boxes.append(Box(place, (0.006, tall, 0.006), float(random.uniform(0, 1.5)), 4))
    for _ in range(nets):
        place = (random.uniform(-0.8, 0.8), 0.12, random.uniform(0.9, 2.0))
        boxes.append(Box(place, (0.16, 0.12, 0.002), float(random.uniform(-0.7, 0.7)), 3))
    return boxes


def cast(view: View, boxes: list[Box]) -> Hits:
    """Return what every ray of a view meets."""
    height, width = view.size
    whole = slice(0, height), slice(0, width)
    start, along = view.rays(*whole)
    floor = np.where(along[..., 1] < -1e-6, -start[..., 1] / np.minimum(along[..., 1], -1e-6), FAR)
    hits = Hits(
        distance=floor.astype(np.float32),
        normal=np.broadcast_to(as_vector(0, 1, 0), (height, width, 3)).copy(),
        kind=np.zeros((height, width), dtype=np.int8),
    )
    for box in boxes:
        _cast_box(view, box, hits)
    hits.distance = np.minimum(hits.distance, np.float32(50))
    hits.place = (start + hits.distance[..., None] * along).astype(np.float32)
    return hits


def _cast_box(view: View, box: Box, hits: Hits) -> None:
    turn = _turn(box.turn)
    signs = np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)])
    corners = (signs * box.half) @ turn + box.centre
    places = view.project(corners.astype(np.float32))
    low, high = np.floor(places.min(axis=0)), np.ceil(places.max(axis=0)) + 1
    rows = slice(max(int(low[1]), 0), min(int(high[1]), view.size[0]))
    columns = slice(max(int(low[0]), 0), min(int(high[0]), view.size[1]))
    if rows.start >= rows.stop or columns.start >= columns.stop:
        return
    start, along = view.rays(rows, columns)
    into = turn.T.astype(np.float32)
    local, heading = (start - as_vector(*box.centre)) @ into, along @ into
    heading = np.where(np.abs(heading) < 1e-7, np.float32(1e-7), heading)
    half = as_vector(*box.half)
    near = (-np.sign(heading) * half - local) / heading
    far = (np.sign(heading) * half - local) / heading
    face = near.argmax(axis=-1)
    enter, leave = near.max(axis=-1), far.min(axis=-1)
    known = hits.distance[rows, columns]
    met = (enter < leave) & (enter > 1e-4) & (enter < known)
    if box.kind == 3:
        met &= _on_thread(local + enter[..., None] * heading)
    hits.distance[rows, columns] = np.where(met, enter, known)
    hits.kind[rows, columns][met] = box.kind
    side = -np.sign(np.take_along_axis(heading, face[..., None], axis=-1))
    normal = side * turn.astype(np.float32)[face]
    hits.normal[rows, columns][met] = normal[met]


def _on_thread(local: Floats) -> NDArray[np.bool_]:
    """Return where a net has a thread: knots 2 cm apart, threads 3 mm wide, hung askew."""
    one = (local[..., 0] + local[..., 1]) / np.float32(0.02)
    two = (local[..., 0] - local[..., 1]) / np.float32(0.02)
    near = np.minimum(np.abs(one - np.rint(one)), np.abs(two - np.rint(two)))
    return np.asarray(near < 0.11, dtype=np.bool_)


def as_vector(*values: float) -> Floats:
    """Return numbers as a float32 vector."""
    return np.asarray(values, dtype=np.float32)


def _turn(angle: float) -> NDArray[np.float64]:
    """Return the rows of a box's axes in the world, turned about y."""
    cos, sin = np.cos(angle), np.sin(angle)
    return np.array([[cos, 0, sin], [0, 1, 0], [-sin, 0, cos]])
