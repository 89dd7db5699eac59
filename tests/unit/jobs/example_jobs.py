"""Raw jobs to bend in tests."""

import copy
from typing import Any

SMALL: dict[str, Any] = {
    "glimsum": 1,
    "shot": "mole_040",
    "rate": 24,
    "camera": "locked",
    "frames": {"first": 1001, "last": 1006},
    "passes": {
        "beauty": {
            "files": "plates:beauty/beauty.%04d.dpx",
            "space": "ocio:acescct_ap1_scene",
            "exposure": {"stops": 0.5},
            "ambient": "leak",
            "dark": {"level": [0.0025, 0.00225, 0.0028]},
            "align": "none",
        },
        "practicals": {
            "files": "plates:practicals/practicals.%04d.png",
            "space": "srgb_rec709_scene",
            "exposure": {"stops": -1.5},
            "ambient": "leak",
            "level": "steady",
            "align": "none",
        },
        "leak": {
            "files": "plates:black/black.%04d.png",
            "space": "srgb_rec709_scene",
            "use": "ambient",
            "exposure": {"stops": 0.5},
        },
    },
    "recipe": [{"pass": "beauty"}, {"pass": "practicals", "stops": -0.5}],
    "output": "out:mole_040",
}


def small_job(**changes: Any) -> dict[str, Any]:
    """Return a copy of a small sound job, with top-level fields replaced."""
    job = copy.deepcopy(SMALL)
    job.update(changes)
    return job
