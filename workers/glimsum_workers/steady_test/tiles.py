"""Tiles of registrations, caught on their way to the folder in which they are kept."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.tracks import Registered
from glimsum_workers.frames.kept import Keep
from glimsum_workers.steady_test.regions import Gathered, Grid, gather_tiles


class TileKeep(Keep):
    """A keep that remembers the tiles of every registration that it was given or asked for."""

    def __init__(self, folder: Any) -> None:
        super().__init__(folder)
        self._keys: dict[str, str] = {}

    def put(self, key: str, **arrays: NDArray[Any]) -> None:
        """Keep `arrays` under `key` (see `Keep.put`)."""
        super().put(key, **arrays)
        self._note(key, arrays)

    def get(self, key: str) -> dict[str, NDArray[Any]] | None:
        """Return the arrays kept under `key`, or None (see `Keep.get`)."""
        arrays = super().get(key)
        self._note(key, arrays or {})
        return arrays

    def gathered(self, found: Registered, grid: Grid) -> Gathered | None:
        """Return the tiles of a registration by region, or None where they are not known."""
        key = self._keys.get(found.model_dump_json())
        arrays = None if key is None else super().get(key)
        if arrays is None or len(arrays["tiles"]) == 0:
            return None
        return gather_tiles(np.asarray(arrays["tiles"], dtype=np.float32), grid)

    def _note(self, key: str, arrays: dict[str, NDArray[Any]]) -> None:
        if "tiles" in arrays and "told" in arrays:
            self._keys[str(arrays["told"])] = key
