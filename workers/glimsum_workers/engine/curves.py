"""Encoding curves: from an encoded value to scene-linear light, as the standards print them.

Every function takes and returns float64 arrays, works element by element, and goes on below
code 0 and above code 1 by its own formula: nothing is clipped. Where a standard says nothing
about negative values a pure power is continued as an odd function, so that noise round black
keeps its mean. The configuration's own transforms are not used here, since several of them
clip (tables over 0..1) or pass negative values through untouched.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]
Curve = Callable[[Values], Values]


@dataclass(frozen=True)
class LogCurve:
    """A logarithm with a straight toe, the form most camera curves share.

    ``light = (base ** ((code - log_offset) / log_slope) - lin_offset) / lin_slope`` from
    `toe_end` upwards, ``light = (code - toe_offset) / toe_slope`` below, both times `scale`.
    """

    base: float
    log_slope: float
    log_offset: float
    lin_slope: float
    lin_offset: float
    toe_end: float
    toe_slope: float
    toe_offset: float
    scale: float = 1.0

    def __call__(self, code: Values) -> Values:
        """Return the light of `code` (code 0..1 of full range), float64, same shape."""
        upper = np.maximum(code, self.toe_end)
        exponent = (upper - self.log_offset) * (np.log(self.base) / self.log_slope)
        log = (np.exp(exponent) - self.lin_offset) / self.lin_slope
        toe = (code - self.toe_offset) / self.toe_slope
        return self.scale * np.where(code >= self.toe_end, log, toe)


def decode_srgb(code: Values) -> Values:
    """Undo the curve of IEC 61966-2-1 (sRGB); its straight part goes on below 0."""
    power = ((np.maximum(code, 0.04045) + 0.055) / 1.055) ** 2.4
    return np.where(code > 0.04045, power, code / 12.92)


def decode_bt709(code: Values) -> Values:
    """Undo the camera curve of ITU-R BT.709-6 item 1.2 (1.099, 0.45, 4.5, break at light 0.018).

    The printed constants leave a gap: light 0.018 has code 0.081 from below and 0.081248 from
    above. Codes inside the gap take the straight part.
    """
    gap_end = 1.099 * 0.018**0.45 - 0.099
    power = ((np.maximum(code, gap_end) + 0.099) / 1.099) ** (1 / 0.45)
    return np.where(code >= gap_end, power, code / 4.5)


def decode_power(code: Values, *, exponent: float) -> Values:
    """Undo a pure power law; odd below 0."""
    return np.copysign(np.abs(code) ** exponent, code)


def decode_acescc(code: Values) -> Values:
    """Undo ACEScc (S-2014-003, section 4.4) without its upper clamp at 65504."""
    power = 2.0 ** (code * 17.52 - 9.72)
    return np.where(code <= (9.72 - 15) / 17.52, (power - 2.0**-16) * 2, power)


def decode_apple_log(code: Values) -> Values:
    """Undo Apple Log (Apple, "Apple Log Profile", 2023); all codes below 0 are one light there."""
    darkest, toe, sigma = -0.05641088, 0.01, 47.28711236
    beta, gamma, delta = 0.00964052, 0.08550479, 0.69336945
    root = np.sqrt(np.maximum(code, 0) / sigma) + darkest
    log = 2.0 ** ((code - delta) / gamma) - beta
    return np.where(code >= sigma * (toe - darkest) ** 2, log, root)


def decode_nikon_n_log(code: Values) -> Values:
    """Undo N-Log (Nikon, "N-Log Specification Document", 1.0.0, 2018); codes are 10 bit / 1023."""
    cubed = (code * 1023 / 650) ** 3 - 0.0075
    return np.where(code < 452 / 1023, cubed, np.exp((code * 1023 - 619) / 150))


def decode_canon_log(
    code: Values, *, slope: float, offset: float, gain: float, scale: float = 0.9
) -> Values:
    """Undo Canon Log or Canon Log 2 (Canon input transforms, version 202007): odd round `offset`.

    The formula gives light with 1.0 at 90 % reflectance; `scale` brings it to reflectance.
    """
    distance = code - offset
    light = (10.0 ** (np.abs(distance) / slope) - 1) / gain
    return scale * np.copysign(light, distance)


def decode_canon_log3(code: Values) -> Values:
    """Undo Canon Log 3 (Canon input transforms, version 202007): two logs about a straight part."""
    slope, gain = 0.36726845, 14.98325
    low = -(10.0 ** ((0.12783901 - code) / slope) - 1) / gain
    straight = (code - 0.12512219) / 1.9754798
    high = (10.0 ** ((code - 0.12240537) / slope) - 1) / gain
    return 0.9 * np.where(code < 0.097465473, low, np.where(code <= 0.15277891, straight, high))


_LOGC4_GAIN = (2**18 - 16) / 117.45
_LOGC4_SPAN = (1023 - 95) / 1023
_LOGC4_START = 95 / 1023
_LOGC4_TOE_END_LIGHT = (2.0 ** (6 - 14 * _LOGC4_START / _LOGC4_SPAN) - 64) / _LOGC4_GAIN
_LOGC4_TOE_SLOPE = (_LOGC4_GAIN * _LOGC4_SPAN) / (
    7 * np.log(2) * 2.0 ** (7 - 14 * _LOGC4_START / _LOGC4_SPAN)
)

CURVES: Mapping[str, Curve] = MappingProxyType(
    {
        "srgb": decode_srgb,
        "bt709": decode_bt709,
        "power_1.8": partial(decode_power, exponent=1.8),
        "power_2.2": partial(decode_power, exponent=2.2),
        "power_2.4": partial(decode_power, exponent=2.4),
        # Adobe RGB (1998), section 4.3.4.2: 563/256
        "power_563/256": partial(decode_power, exponent=563 / 256),
        "acescc": decode_acescc,
        # S-2016-001, ACEScct
        "acescct": LogCurve(
            2,
            1 / 17.52,
            9.72 / 17.52,
            1,
            0,
            0.155251141552511,
            10.5402377416545,
            0.0729055341958355,
        ),
        "apple_log": decode_apple_log,
        # ARRI, "ALEXA Log C Curve", 2012, LogC3 at EI 800
        "arri_logc3_ei800": LogCurve(
            10,
            0.247189638318671,
            0.385536998692443,
            5.555555555555556,
            0.0522722750251688,
            5.367650 * 0.0105909904954696 + 0.092809,
            5.367650,
            0.092809,
        ),
        # ARRI, "ARRI LogC4 Logarithmic Color Space Specification", 2022
        "arri_logc4": LogCurve(
            2,
            _LOGC4_SPAN / 14,
            _LOGC4_START - 6 * _LOGC4_SPAN / 14,
            _LOGC4_GAIN,
            64,
            0,
            _LOGC4_TOE_SLOPE,
            -_LOGC4_TOE_END_LIGHT * _LOGC4_TOE_SLOPE,
        ),
        # Blackmagic Design, "Blackmagic Generation 5 Color Science", 2021
        "blackmagic_film_5": LogCurve(
            np.e,
            0.08692876065491224,
            0.5300133392291939,
            1,
            0.005494072432257808,
            8.283605932402494 * 0.005 + 0.09246575342465753,
            8.283605932402494,
            0.09246575342465753,
        ),
        "canon_log": partial(decode_canon_log, slope=0.45310179, offset=0.12512248, gain=10.1596),
        "canon_log2": partial(
            decode_canon_log, slope=0.24136077, offset=0.092864125, gain=87.09937546
        ),
        "canon_log3": decode_canon_log3,
        # DJI, "White Paper on D-Log and D-Gamut", 2017
        "dji_d_log": LogCurve(
            10, 1 / 3.89616, 2.27752 / 3.89616, 0.9892, 0.0108, 0.14, 6.025, 0.0929
        ),
        # Fujifilm, "F-Log Data Sheet", 1.1, 2022
        "fujifilm_f_log": LogCurve(
            10, 0.344676, 0.790453, 0.555556, 0.009468, 0.100537775223865, 8.735631, 0.092864
        ),
        # Fujifilm, "F-Log2 Data Sheet", 1.0, 2022
        "fujifilm_f_log2": LogCurve(
            10, 0.245281, 0.384316, 5.555556, 0.064829, 0.100686685370811, 8.799461, 0.092864
        ),
        # Leica, "L-Log Reference Manual", 2022
        "leica_l_log": LogCurve(10, 0.27, 0.6, 1.3, 0.0115, 0.138, 8, 0.09),
        "nikon_n_log": decode_nikon_n_log,
        # Panasonic, "V-Log/V-Gamut Reference Manual", 2014
        "panasonic_v_log": LogCurve(10, 0.241514, 0.598206, 1, 0.00873, 0.181, 5.6, 0.125),
        # RED, "White Paper on REDWideGamutRGB and Log3G10", 2017
        "red_log3g10": LogCurve(
            10, 0.224282, 0, 155.975327, 1 + 155.975327 * 0.01, 0, 15.1927, 0.151927
        ),
        # Sony, "S-Log2" as printed for ISO 800, 2012: a scale to 90 % white, video scaled codes
        "sony_s_log2": LogCurve(
            10,
            0.432699 * 876 / 1023,
            (0.646596 * 876 + 64) / 1023,
            1,
            0.037584,
            (0.030001222851889303 * 876 + 64) / 1023,
            5 * 876 / 1023,
            (0.030001222851889303 * 876 + 64) / 1023,
            scale=0.9 * 219 / 155,
        ),
        # Sony, "Technical Summary for S-Gamut3.Cine/S-Log3 and S-Gamut3/S-Log3"
        "sony_s_log3": LogCurve(
            10,
            261.5 / 1023,
            420 / 1023,
            1 / 0.19,
            0.01 / 0.19,
            171.2102946929 / 1023,
            (171.2102946929 - 95) / 1023 / 0.01125,
            95 / 1023,
        ),
    }
)
