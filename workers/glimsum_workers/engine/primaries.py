"""Linear RGB moved from one set of primaries to another."""

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.codes import Image


def convert(rgb: Image, matrix: NDArray[np.float64]) -> Image:
    """Return linear RGB in other primaries.

    Parameters
    ----------
    rgb : Image
        Linear; negative values are welcome. Not changed.
    matrix : float64 array, (3, 3)
        ``converted = matrix @ rgb`` for each pixel; the unit matrix returns `rgb` itself.

    Returns
    -------
    Image
        float32; each sample is a sum of three products, relative error below 2**-22 of the
        largest of them.
    """
    if np.array_equal(matrix, np.eye(3)):
        return rgb
    weights = np.ascontiguousarray(matrix.T, dtype=np.float32)
    converted: Image = (rgb.reshape(-1, 3) @ weights).reshape(rgb.shape)
    return converted
