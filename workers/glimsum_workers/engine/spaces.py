"""The pinned OpenColorIO configuration, and 3x3 matrices between the primaries of its spaces."""

from functools import lru_cache
from typing import Any

import numpy as np
import PyOpenColorIO
from numpy.typing import NDArray

from glimsum_jobs.colour import find_space
from glimsum_jobs.errors import LightError
from glimsum_jobs.spaces import CONFIG

ocio: Any = PyOpenColorIO
"""OpenColorIO as an untyped name: the compiled module carries no types for a checker to read."""

Matrix3 = NDArray[np.float64]
"""float64, (3, 3); applied as ``matrix @ rgb``."""

_HUB = "lin_ap0_scene"


@lru_cache(maxsize=1)
def load_config() -> Any:
    """Return the pinned configuration (an OpenColorIO Config), read once; do not change it."""
    return ocio.Config.CreateFromFile(CONFIG)


def config_name(space: str) -> str:
    """Return the name that the linear partner of `space` has in the configuration.

    Raises
    ------
    LightError
        When `space` is data, which has no primaries.
    SourceError
        When `space` is not known.
    """
    linear = find_space(find_space(space).linear)
    if linear.kind != "linear" or linear.config_name is None:
        raise LightError(
            "this space has no primaries",
            seen=space,
            expected="a space of light",
            remedy="Data such as mattes are weights; keep them out of colour conversions.",
        )
    return linear.config_name


def matrix_between(source: str, target: str) -> Matrix3:
    """Return the matrix from linear light in one space's primaries to another's.

    Parameters
    ----------
    source, target : str
        Interop IDs. An encoded space counts as its linear partner, so the matrix of S-Log3
        footage is found by the name of the footage.

    Returns
    -------
    Matrix3
        Multiplied from the configuration's own float64 matrices; white maps to white (the
        configuration adapts by Bradford, or by the camera maker's matrix). Row sums are 1 to
        1e-6 at least, as good as the makers' printed digits.

    Raises
    ------
    LightError
        When either is data.
    SourceError
        When either is not known.
    """
    return _matrix_between(config_name(source), config_name(target)).copy()


def luminance_weights(space: str) -> NDArray[np.float64]:
    """Return the weights of R, G and B in luminance Y.

    Parameters
    ----------
    space : str
        Interop ID. Working spaces have theirs from their published primaries (SMPTE
        RP 177:1993); a camera space takes those of its colours in AP0, which differ from the
        maker's own by up to about 0.01 through the adaptation of white.

    Returns
    -------
    float64 array, (3,)
        Sum 1.

    Raises
    ------
    LightError
        When `space` is data.
    SourceError
        When `space` is not known.
    """
    linear = find_space(find_space(space).linear)
    if linear.primaries is not None:
        weights = xyz_from_rgb(linear.id)[1]
    else:
        weights = xyz_from_rgb(_HUB)[1] @ matrix_between(linear.id, _HUB)
    return np.asarray(weights / weights.sum(), dtype=np.float64)


def xyz_from_rgb(space: str) -> Matrix3:
    """Return the matrix from linear R, G, B to CIE 1931 XYZ, white at Y = 1, not adapted.

    Parameters
    ----------
    space : str
        A working space, or an encoded space whose linear partner is one.

    Raises
    ------
    LightError
        When its primaries are not published as xy in our list.

    References
    ----------
    SMPTE RP 177:1993, "Derivation of basic television color equations", section 3.3.
    """
    primaries = find_space(find_space(space).linear).primaries
    if primaries is None:
        raise LightError(
            "primaries not known as xy",
            seen=space,
            expected="a working space",
            remedy="Take lin_ap1_scene as the working space.",
        )
    columns = np.array([(x / y, 1.0, (1 - x - y) / y) for x, y in primaries]).T
    gains = np.linalg.solve(columns[:, :3], columns[:, 3])
    return np.asarray(columns[:, :3] * gains, dtype=np.float64)


@lru_cache(maxsize=256)
def _matrix_between(source: str, target: str) -> Matrix3:
    hub = find_space(_HUB).config_name or ""
    if source == target:
        return np.eye(3)
    joined = np.linalg.solve(_product(target, hub), _product(source, hub))
    return np.asarray(joined, dtype=np.float64)


@lru_cache(maxsize=64)
def _product(source: str, target: str) -> Matrix3:
    """Return the product of the configuration's matrices between two linear spaces."""
    product = np.eye(3)
    for step in load_config().getProcessor(source, target).createGroupTransform():
        if not isinstance(step, ocio.MatrixTransform) or any(step.getOffset()):
            raise LightError(
                "the configuration joins two linear spaces by more than a matrix",
                seen=f"{type(step).__name__} between {source} and {target}",
                expected="a 3x3 matrix",
            )
        product = np.array(step.getMatrix()).reshape(4, 4)[:3, :3] @ product
    return product
