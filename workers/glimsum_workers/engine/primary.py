"""The primary correction: stops on the light, then slope, offset, power and saturation on codes."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.codes import Image
from glimsum_workers.engine.spaces import matrix_between

_CODES_PRIMARIES = "lin_ap1_scene"
_STRIP_PIXELS = 1 << 15
_LUMA = np.array([0.2126, 0.7152, 0.0722], np.float32)
_BREAK_LIGHT, _BREAK_CODE = 0.0078125, 0.155251141552511
_TOE_SLOPE, _TOE_OFFSET = 10.5402377416545, 0.0729055341958355

Three = tuple[float, float, float]


@dataclass(frozen=True)
class Primary:
    """Numbers of a primary correction.

    Attributes
    ----------
    stops : float
        Gain on the light, log2.
    slope, offset, power : tuple of float
        R, G, B; slope 0 or more, power above 0.
    saturation : float
        0 or more; 0 leaves luma alone.

    Raises
    ------
    LightError
        A number is not finite or out of its range.
    """

    stops: float = 0.0
    slope: Three = (1.0, 1.0, 1.0)
    offset: Three = (0.0, 0.0, 0.0)
    power: Three = (1.0, 1.0, 1.0)
    saturation: float = 1.0

    def __post_init__(self) -> None:
        """Hold the numbers to their ranges."""
        numbers = (self.stops, *self.slope, *self.offset, *self.power, self.saturation)
        sound = bool(np.all(np.isfinite(numbers)))
        if not sound or min(*self.slope, self.saturation) < 0 or min(self.power) <= 0:
            raise LightError(
                "the primary correction holds a number that can't be",
                seen=str(self),
                expected="finite numbers, slope and saturation 0 or more, power above 0",
                remedy="Correct picture in the job.",
            )

    @property
    def on_codes(self) -> bool:
        """Return whether anything but stops is asked for."""
        return (self.slope, self.offset, self.power, self.saturation) != (
            (1.0, 1.0, 1.0),
            (0.0, 0.0, 0.0),
            (1.0, 1.0, 1.0),
            1.0,
        )


def correct_picture(rgb: Image, primary: Primary, space: str, *, clamp: bool = True) -> Image:
    """Return a picture with its primary correction.

    Parameters
    ----------
    rgb : Image
        Scene-linear, in the working space, finite. Not changed.
    primary : Primary
        What is done. With nothing asked for `rgb` itself is returned.
    space : str
        Interop ID of the working space.
    clamp : bool
        Whether codes are clamped to 0..1 as the ASC CDL says, before the power and at the end:
        light to -0.0069 .. 222.9. False, for masters: nothing is clamped, and the power leaves
        codes below 0 as they are.

    Returns
    -------
    Image
        Scene-linear, in the working space; float32, within 2e-5 of the light of float64.

    Notes
    -----
    Light is multiplied by 2**stops, brought to AP1 and coded in ACEScct; there
    ``code = (code * slope + offset) ** power`` by channel, then
    ``code = luma + saturation * (code - luma)``, luma by the weights of Rec. 709 as the ASC CDL
    has it whatever the primaries; and back. An exposure is a gain in light and an offset of
    1 / 17.52 in codes.

    References
    ----------
    ASC Color Decision List, version 1.2 (formulas from memory, held against OpenColorIO's
    CDLTransform in both styles). S-2016-001, ACEScct, A Quasi-Logarithmic Encoding of ACES Data.
    """
    gain = np.float32(2.0**primary.stops)
    if not primary.on_codes:
        return rgb if gain == 1 else np.asarray(rgb * gain, np.float32)
    into = (matrix_between(space, _CODES_PRIMARIES).T * float(gain)).astype(np.float32)
    back = matrix_between(_CODES_PRIMARIES, space).T.astype(np.float32)
    source = np.ascontiguousarray(rgb, np.float32).reshape(-1, 3)
    result = np.empty_like(source)
    for start in range(0, len(source), _STRIP_PIXELS):
        strip = slice(start, start + _STRIP_PIXELS)
        codes = _encode(source[strip] @ into)
        result[strip] = _decode(_correct(codes, primary, clamp=clamp)) @ back
    return result.reshape(rgb.shape)


def _correct(codes: NDArray[np.float32], primary: Primary, *, clamp: bool) -> NDArray[np.float32]:
    codes *= np.asarray(primary.slope, np.float32)
    codes += np.asarray(primary.offset, np.float32)
    if clamp:
        np.clip(codes, 0, 1, out=codes)
    if primary.power != (1.0, 1.0, 1.0):
        powers = np.maximum(codes, 0) ** np.asarray(primary.power, np.float32)
        codes = np.where(codes > 0, powers, codes)
    if primary.saturation != 1:
        luma = (codes @ _LUMA)[:, None]
        codes = np.asarray(luma + np.float32(primary.saturation) * (codes - luma), np.float32)
    return np.clip(codes, 0, 1) if clamp else codes


def _encode(light: NDArray[np.float32]) -> NDArray[np.float32]:
    log = (np.log2(np.maximum(light, np.float32(_BREAK_LIGHT))) + np.float32(9.72)) / np.float32(
        17.52
    )
    toe = light * np.float32(_TOE_SLOPE) + np.float32(_TOE_OFFSET)
    return np.where(light > _BREAK_LIGHT, log, toe)


def _decode(codes: NDArray[np.float32]) -> NDArray[np.float32]:
    # The highest light of a 32-bit float has a code just below 7.9: more would be infinite.
    log = np.exp2(np.clip(codes, _BREAK_CODE, 7.8) * np.float32(17.52) - np.float32(9.72))
    toe = (codes - np.float32(_TOE_OFFSET)) / np.float32(_TOE_SLOPE)
    return np.asarray(np.where(codes > _BREAK_CODE, log, toe), np.float32)
