"""The outline of a matte shape that goes where the reference shows what lies under it."""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.mattes.outline import Corners

Homography = Sequence[float]
"""Nine numbers, row-major: takes (x, y, 1) of the anchor frame to another frame, pixels."""


def carry(corners: Corners, matrix: Homography, *, back: bool = False) -> Corners:
    """Return corners of the anchor frame as another frame shows them.

    Parameters
    ----------
    corners : Corners, (n, 2)
        x then y, pixels.
    matrix : Homography
        From the anchor frame to the other one.
    back : bool
        The other way: `corners` are those of the other frame.

    Returns
    -------
    Corners, (n, 2)
        Exact to float64 rounding.

    Raises
    ------
    LightError
        If the matrix has no inverse where one is needed, or takes a corner to or beyond the
        horizon of its plane.
    """
    rows = np.asarray(matrix, dtype=np.float64).reshape(3, 3)
    if back:
        rows = _inverse(rows)
    carried = np.column_stack([corners, np.ones(len(corners))]) @ rows.T
    depth = carried[:, 2:] / rows[2, 2] if rows[2, 2] else carried[:, 2:]
    if not (np.isfinite(carried).all() and (depth > 1e-9).all()):
        raise LightError(
            "The outline of a matte shape is carried out of sight",
            seen=f"depths {depth.min():.3g} to {depth.max():.3g} of its corners",
            expected="depths above 0",
            remedy="Look at what the shape follows, or key it by hand on these frames.",
        )
    return np.asarray(carried[:, :2] / carried[:, 2:], dtype=np.float64)


def anchored(keys: Mapping[int, Corners], matrices: Mapping[int, Homography]) -> dict[int, Corners]:
    """Return keyed outlines as the anchor frame shows them.

    Parameters
    ----------
    keys : mapping of int to Corners
        By shot frame: as drawn on that frame.
    matrices : mapping of int to Homography
        By shot frame: from the anchor frame to that frame.

    Returns
    -------
    dict of int to Corners

    Raises
    ------
    LightError
        If a keyed frame was not followed; see `carry`.
    """
    lost = [frame for frame in keys if frame not in matrices]
    if lost:
        raise LightError(
            "A matte shape is keyed on a frame that was not followed",
            seen=f"frame {lost[0]}",
            expected=f"one of the {len(matrices)} frames that were followed",
            remedy="Key the shape on a frame of the shot that can be read.",
        )
    return {frame: carry(corners, matrices[frame], back=True) for frame, corners in keys.items()}


def _inverse(rows: NDArray[np.float64]) -> NDArray[np.float64]:
    try:
        return np.asarray(np.linalg.inv(rows), dtype=np.float64)
    except np.linalg.LinAlgError:
        raise LightError(
            "What a matte shape follows is flat",
            seen=f"matrix {rows.tolist()}",
            expected="a matrix with an inverse",
            remedy="Look at what the shape follows, or key it by hand.",
        ) from None
