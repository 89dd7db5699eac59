"""A small shot whose later versions take over frames of earlier ones."""

import dataclasses
import hashlib
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image
from scipy.ndimage import gaussian_filter

from support.harbour_jobs import merged
from support.run_here import HereRun, open_run, work_through
from support.small_shots import exr_pass, grain, small_roots, small_shot, write_exr_pass

SIZE = (96, 128)
ALL = [1001, 1002, 1003]
BASE: dict[str, Any] = {
    "passes": {
        "key": exr_pass("key", ambient="leak", level="steady"),
        "bulbs": exr_pass("bulbs"),
        "leak": exr_pass("leak", use="ambient"),
    },
    "mattes": {"window": {"files": "plates:window.%04d.png"}},
    "reference": "key",
    "recipe": [
        {"pass": "key"},
        {"pass": "bulbs", "stops": -0.5},
        {"pass": "bulbs", "stops": -2, "matte": "window"},
    ],
}


def soft(seed: int) -> np.ndarray:
    """Return light with detail that can be registered, (height, width, 3)."""
    rough = np.random.default_rng(seed).normal(0, 1, (*SIZE, 3))
    return np.asarray(0.4 + gaussian_filter(rough, (1.5, 1.5, 0)), np.float32)


def write_matte(folder: Path, number: int, seed: int) -> None:
    """Write one picture of the matte."""
    codes = (grain(seed, *SIZE)[..., 0] * 200).clip(0, 255).astype(np.uint8)
    Image.fromarray(codes).save(folder / f"window.{number:04d}.png")


def write_plates(tmp_path: Path) -> Path:
    """Write the passes and the matte."""
    write_exr_pass(tmp_path, "key", {n: soft(1) * (1 + n / 50) for n in (1, 2, 3)})
    write_exr_pass(tmp_path, "bulbs", {n: np.roll(soft(1), n, 1) for n in (1, 2, 3)})
    write_exr_pass(tmp_path, "leak", {n: grain(20 + n, *SIZE) / 50 for n in (1, 2, 3)})
    for number in (1, 2, 3):
        write_matte(tmp_path, number, 40 + number)
    return tmp_path


def make(plates: Path, version: int, changes: Any = None, *, reused: bool = True) -> HereRun:
    """Make a version of the shot, its job changed."""
    job = small_shot(**merged(BASE, changes or {}))
    run = open_run(job, small_roots(plates), version=version)
    order = run.order.model_copy(update={"reuse": reused})
    return work_through(dataclasses.replace(run, order=order))


def taken(run: HereRun) -> dict[int, str]:
    """Return the version each frame was taken over from, of those that were."""
    return {n: each.reused for n, each in run.combined.items() if each.reused is not None}


def files(run: HereRun, folder: str = "master") -> list[str]:
    """Return the digests of the files of a folder of a version."""
    return [
        hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted((run.folder / folder).iterdir())
    ]


def recipe(index: int, **changes: Any) -> dict[str, Any]:
    """Return changes that change one step."""
    steps = [dict(each) for each in BASE["recipe"]]
    steps[index] = merged(steps[index], changes)
    return {"recipe": steps}


def faded(*values: float) -> dict[str, Any]:
    """Return changes that give the second step a gain by frame."""
    keys = [{"frame": 1001 + n, "value": value} for n, value in enumerate(values)]
    return recipe(1, stops=keys)
