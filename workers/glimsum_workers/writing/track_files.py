"""The tracks of what was followed on the reference, written as JSON and CSV."""

import csv
import io
import json
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import numpy as np

from glimsum_jobs.follows import Follow
from glimsum_jobs.patches import marked_patches
from glimsum_jobs.shot import ShotJob
from glimsum_workers.engine.planar.homography import carry
from glimsum_workers.frames.whole import nothing_to_ask, write_whole

TRACKS = "tracks"
"""Folder of the tracks in that of a version."""

_FORMAT = {
    "units": "pixels of the reference at full size; x right, y down; centre of the first pixel "
    "at 0.5, 0.5",
    "matrix": "row-major homography; takes (x, y, 1) of the anchor frame to the frame",
    "sigma_px": "standard deviation of the worst point, pixels an axis; 0 where marked",
}


def track_document(job: ShotJob, patch: str, follow: Follow) -> dict[str, Any]:
    """Return a track as JSON values.

    Parameters
    ----------
    job : ShotJob
        Has the marks.
    patch : str
        ``insert:NAME``, ``matte:NAME`` or ``element:NAME``.
    follow : Follow
        Where it was followed to.

    Returns
    -------
    dict
        Shot, what is followed, anchor, words on units, and by frame the points of the anchor's
        mark, the homography, sigma, whether it is trusted, and how it is known.
    """
    kind, _, name = patch.partition(":")
    points = np.asarray(marked_patches(job)[patch].marks[follow.anchor], np.float64)
    frames = []
    for frame in sorted(follow.frames):
        each = follow.frames[frame]
        laid = carry(np.asarray(each.matrix, np.float64).reshape(3, 3), points)
        frames.append(
            {
                "frame": frame,
                "points": [[round(float(x), 4), round(float(y), 4)] for x, y in laid],
                **each.model_dump(mode="json"),
            }
        )
    head = {"shot": job.shot, kind: name, "reference": job.reference_pass}
    return {**head, "anchor": follow.anchor, **_FORMAT, "frames": frames}


def track_csv(document: Mapping[str, Any]) -> str:
    """Return a track document as CSV (RFC 4180): one row a frame, x and y of every point."""
    frames = document["frames"]
    count = len(frames[0]["points"]) if frames else 0
    text = io.StringIO()
    rows = csv.writer(text, lineterminator="\r\n")
    axes = [f"{axis}{point}" for point in range(1, count + 1) for axis in "xy"]
    cells = [f"m{row}{column}" for row in "123" for column in "123"]
    rows.writerow(["frame", *axes, "sigma_px", "trusted", "source", *cells])
    for each in frames:
        places = [value for point in each["points"] for value in point]
        told = [each["sigma_px"], str(each["trusted"]).lower(), each["source"]]
        rows.writerow([each["frame"], *places, *told, *each["matrix"]])
    return text.getvalue()


def write_tracks(
    job: ShotJob,
    follows: Mapping[str, Follow],
    folder: Path,
    token: str,
    before_rename: Callable[[], None] = nothing_to_ask,
) -> list[str]:
    """Write the tracks of a shot, each whole or not at all.

    Parameters
    ----------
    job : ShotJob
        The shot.
    follows : mapping of str to Follow
        By ``insert:NAME``, ``matte:NAME``, ``element:NAME``.
    folder : Path
        Where they are written; must exist.
    token : str
        Part of the temporary names.
    before_rename : callable
        Asked before a file gets its name; what it raises leaves the old one.

    Returns
    -------
    list of str
        Names of the files: ``insert_board.json``, ``insert_board.csv``.

    Raises
    ------
    OutputError
        The disk is full or fails.
    """
    written = []
    for patch in sorted(follows):
        document = track_document(job, patch, follows[patch])
        texts = {
            "json": json.dumps(document, ensure_ascii=False, indent=1, allow_nan=False) + "\n",
            "csv": track_csv(document),
        }
        for ending, text in texts.items():
            name = f"{patch.replace(':', '_')}.{ending}"
            write_whole(folder, name, text.encode(), token, before_rename)
            written.append(name)
    return written
