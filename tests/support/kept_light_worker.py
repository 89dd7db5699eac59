"""A process that keeps light and takes it back, beside others that do the same in one folder.

A module of its own, since a process that is started anew has to find it by name.
"""

from pathlib import Path

import numpy as np

from glimsum_workers.frames.kept_light import LightStore

KEYS = [f"{number:064x}" for number in range(1, 9)]


def light(seed: int, count: int = 1000) -> dict[str, np.ndarray]:
    values = np.random.default_rng(seed).normal(0, 1, (count, 3)).astype(np.float32)
    return {"rgb": values, "counts": np.array([seed, 2], np.int64)}


def put_and_get(folder: Path, budget: int, seed: int) -> int:
    """Put and get for a while; return how often what came back was whole."""
    rng, whole = np.random.default_rng(seed), 0
    for _ in range(60):
        index = int(rng.integers(len(KEYS)))
        # A new store each time takes all that is there for old, and pushes it out.
        store = LightStore(folder, budget)
        kept = store.get(KEYS[index])
        if kept is None:
            store.put(KEYS[index], light(index, 20_000))
        else:
            np.testing.assert_array_equal(kept["rgb"], light(index, 20_000)["rgb"])
            whole += 1
    return whole
