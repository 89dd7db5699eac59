"""Where a viewing copy lies on the screen of the estimate: cells, and the fields they fill."""

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.flash_limits import AREA_SHARE, FIELD_PX, SCREEN_PX

CELL_PX = 4.0
"""Side of a cell in pixels of the screen: 0.12 degrees, where 341 pixels are 10. The definition
leaves out balanced patterns of squares below 0.1 degrees, and a cell is their mean."""

Cells = NDArray[np.float32]
"""One value a cell: float32, (rows, columns)."""

Hits = NDArray[np.bool_]
"""Whether something happened in a cell: (rows, columns)."""


class Screen:
    """A picture fitted into the screen of the estimate, and laid out in cells.

    Parameters
    ----------
    height, width : int
        Of the viewing copy, pixels.

    Attributes
    ----------
    rows, columns : int
        Cells; never more than pixels.
    limits : float64 array (places,)
        Area above which a place counts, pixels of the screen: of the whole picture first, then of
        every field.

    Notes
    -----
    Places of fields are every cell's edge and the far borders, so the worst field is missed by
    half a cell, 2 pixels of 341, at most. A field larger than the picture is counted at its full
    size, for what lies beside the picture does not flash.
    """

    def __init__(self, height: int, width: int) -> None:
        self.size = (height, width)
        scale = min(SCREEN_PX[0] / width, SCREEN_PX[1] / height)
        self.columns = _cells(width, scale)
        self.rows = _cells(height, scale)
        self._across = _Ruler(width, self.columns, scale, FIELD_PX[0])
        self._down = _Ruler(height, self.rows, scale, FIELD_PX[1])
        self._area = np.outer(self._down.lengths, self._across.lengths)
        field = FIELD_PX[0] * FIELD_PX[1]
        fields = len(self._down.begins) * len(self._across.begins)
        self.limits = AREA_SHARE * np.array([self._area.sum()] + [field] * fields)

    def light(self, codes: NDArray[np.uint8], table: NDArray[np.float32]) -> NDArray[np.float32]:
        """Return the mean light of each cell.

        Parameters
        ----------
        codes : uint8 array (height, width, channels)
            Of the size this screen was made for.
        table : float32 array (256,)
            Light of each code, 0..1.

        Returns
        -------
        float32 array (rows, columns, channels)
            Every pixel is counted in one cell; within 1e-6 of the exact mean.
        """
        edges, flat = self._down.edges, codes.reshape(codes.shape[0], -1)
        bands = np.empty((self.rows, flat.shape[1]), np.float32)
        # Band by band, so that its light is summed while it is in the cache.
        for row in range(self.rows):
            np.add.reduce(table[flat[edges[row] : edges[row + 1]]], axis=0, out=bands[row])
        bands = bands.reshape(self.rows, *codes.shape[1:])
        sums = np.add.reduceat(bands, self._across.edges[:-1], axis=1)
        counts = np.outer(np.diff(edges), np.diff(self._across.edges))
        return np.asarray(sums / counts[..., None], np.float32)

    def areas(self, hits: Hits) -> NDArray[np.float64]:
        """Return the area of the cells hit, pixels of the screen, by place as in `limits`."""
        area = np.where(hits, self._area, 0.0)
        fields = self._across.sums(self._down.sums(area.T).T)
        return np.concatenate([[area.sum()], fields.ravel()])

    def box(self, place: int) -> tuple[int, int, int, int]:
        """Return left, top, right and bottom of a place in pixels of the viewing copy."""
        height, width = self.size
        if place == 0:
            return 0, 0, width, height
        row, column = divmod(place - 1, len(self._across.begins))
        left, right = self._across.span(column)
        top, bottom = self._down.span(row)
        return left, top, right, bottom

    def enlarge(self, hits: Hits) -> Hits:
        """Return hits at the size of the viewing copy."""
        rows = np.repeat(hits, np.diff(self._down.edges), axis=0)
        return np.repeat(rows, np.diff(self._across.edges), axis=1)


class _Ruler:
    """One axis: cells of whole pixels, and fields that begin at each of them."""

    def __init__(self, pixels: int, cells: int, scale: float, field_px: int) -> None:
        self.edges = np.rint(np.linspace(0, pixels, cells + 1)).astype(np.intp)
        self.lengths = np.diff(self.edges) * scale
        self._pixels = pixels
        self._length = field_px / scale
        last = max(0.0, pixels - self._length)
        inside = self.edges[self.edges < last].astype(np.float64)
        self.begins = np.append(inside, last)
        self._ends = np.minimum(self.begins + self._length, pixels)

    def sums(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return what the last axis sums to in each field, parts of cells by their share."""
        total = np.zeros((*values.shape[:-1], values.shape[-1] + 1))
        np.cumsum(values, axis=-1, out=total[..., 1:])
        return self._read(total, self._ends) - self._read(total, self.begins)

    def _read(self, total: NDArray[np.float64], at: NDArray[np.float64]) -> NDArray[np.float64]:
        cell = np.clip(np.searchsorted(self.edges, at, side="right") - 1, 0, len(self.lengths) - 1)
        share = (at - self.edges[cell]) / np.diff(self.edges)[cell]
        low: NDArray[np.float64] = total[..., cell]
        return low + share * (total[..., cell + 1] - low)

    def span(self, place: int) -> tuple[int, int]:
        """Return begin and end of a field in whole pixels."""
        return round(float(self.begins[place])), round(float(self._ends[place]))


def _cells(pixels: int, scale: float) -> int:
    return max(1, min(pixels, round(pixels * scale / CELL_PX)))
