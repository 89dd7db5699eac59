"""The colour spaces a pass may be in, one record each.

Names are interop IDs as the pinned OpenColorIO configuration gives them; spaces that the
configuration lacks carry our own prefix ``glimsum:``. Nothing outside this list is offered.
"""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Literal

from pydantic import BaseModel, ConfigDict

CONFIG = "ocio://studio-config-v4.0.0_aces-v2.0_ocio-v2.5"
"""The pinned configuration; another one would move pixels."""

Kind = Literal["linear", "log", "gamma", "data"]

VideoCodes = Literal["unscaled", "scaled", "unknown"]
"""What a curve's published values mean in a limited-range clip.

``unscaled``: 10-bit code / 1023, so middle grey of S-Log3 is code 420 in any file.
``scaled``: (code - 64) / 876, white at code 940. ``unknown``: the job has to state the range;
``limited`` is then read as scaled.
"""

Xy = tuple[float, float]


class Space(BaseModel):
    """One colour space a pass may be in.

    Attributes
    ----------
    id : str
        Interop ID, the name used in jobs and in masters.
    config_name : str or None
        Name in the pinned configuration; None where the configuration lacks the space.
    label : str
        What it is, in plain words.
    kind : Kind
    curve : str or None
        Name of the curve to linear light; None where values are linear or data already.
    linear : str
        ID of the linear space with the same primaries; the space itself when it is linear.
    video_codes : VideoCodes
    video_source : str
        Where `video_codes` is known from.
    primaries : tuple of four xy pairs, or None
        Red, green, blue and white, CIE 1931 xy, of spaces that may be worked in.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    id: str
    config_name: str | None
    label: str
    kind: Kind
    curve: str | None
    linear: str
    video_codes: VideoCodes = "unknown"
    video_source: str = ""
    primaries: tuple[Xy, Xy, Xy, Xy] | None = None


_D65 = (0.3127, 0.3290)
_ACES_WHITE = (0.32168, 0.33767)

# ID, name in the configuration, label, red, green, blue, white.
# Sources: SMPTE ST 2065-1, S-2014-004, ITU-R BT.709-6, ITU-R BT.2020-2, SMPTE EG 432-1 with
# D65, Adobe RGB (1998); read through two libraries, not from the papers.
_OPEN_LINEAR: list[tuple[str, str, str, Xy, Xy, Xy, Xy]] = [
    (
        "lin_ap1_scene", "ACEScg", "linear light, AP1 primaries",
        (0.713, 0.293), (0.165, 0.830), (0.128, 0.044), _ACES_WHITE,
    ),
    (
        "lin_ap0_scene", "ACES2065-1", "linear light, AP0 primaries",
        (0.7347, 0.2653), (0.0, 1.0), (0.0001, -0.077), _ACES_WHITE,
    ),
    (
        "lin_rec709_scene", "Linear Rec.709 (sRGB)", "linear light, Rec.709 primaries",
        (0.64, 0.33), (0.30, 0.60), (0.15, 0.06), _D65,
    ),
    (
        "lin_rec2020_scene", "Linear Rec.2020", "linear light, Rec.2020 primaries",
        (0.708, 0.292), (0.170, 0.797), (0.131, 0.046), _D65,
    ),
    (
        "lin_p3d65_scene", "Linear P3-D65", "linear light, P3 primaries, D65 white",
        (0.680, 0.320), (0.265, 0.690), (0.150, 0.060), _D65,
    ),
    (
        "lin_adobergb_scene", "Linear AdobeRGB", "linear light, Adobe RGB (1998) primaries",
        (0.64, 0.33), (0.21, 0.71), (0.15, 0.06), _D65,
    ),
]  # fmt: skip

_CAMERA_LINEAR = [
    ("ocio:lin_awg3_scene", "Linear ARRI Wide Gamut 3", "ARRI Wide Gamut 3"),
    ("ocio:lin_awg4_scene", "Linear ARRI Wide Gamut 4", "ARRI Wide Gamut 4"),
    ("ocio:lin_bmdwg5_scene", "Linear BMD WideGamut Gen5", "Blackmagic Wide Gamut 5"),
    ("ocio:lin_cgamutd55_scene", "Linear CinemaGamut D55", "Canon Cinema Gamut, daylight"),
    ("ocio:lin_dgamut_scene", "Linear D-Gamut", "DJI D-Gamut"),
    ("ocio:lin_vgamut_scene", "Linear V-Gamut", "Panasonic V-Gamut"),
    ("ocio:lin_rwg_scene", "Linear REDWideGamutRGB", "REDWideGamutRGB"),
    ("ocio:lin_sgamut3_scene", "Linear S-Gamut3", "Sony S-Gamut3"),
    ("ocio:lin_sgamut3cine_scene", "Linear S-Gamut3.Cine", "Sony S-Gamut3.Cine"),
    ("ocio:lin_sgamut3venice_scene", "Linear Venice S-Gamut3", "Sony Venice S-Gamut3"),
    ("ocio:lin_sgamut3cinevenice_scene", "Linear Venice S-Gamut3.Cine",
     "Sony Venice S-Gamut3.Cine"),
]  # fmt: skip

_TABLE: tuple[VideoCodes, str] = (
    "unscaled",
    "the maker's table prints 10-bit codes and percentages that agree with it",
)
_ARRI: tuple[VideoCodes, str] = (
    "scaled",
    "ARRI: recorded clips hold the curve in limited range (from memory)",
)
_ITU: tuple[VideoCodes, str] = (
    "scaled",
    "ITU-R BT.709-6 item 5: black at code 16, white at code 235 (from memory)",
)
_ASK: tuple[VideoCodes, str] = ("unknown", "")

# ID, name in the configuration, label, kind, curve, linear partner, (video codes, source)
_ENCODED: list[
    tuple[str, str | None, str, Kind, str, str, tuple[VideoCodes, str]]
] = [
    ("srgb_rec709_scene", "sRGB Encoded Rec.709 (sRGB)", "sRGB picture (most 8-bit stills)",
     "gamma", "srgb", "lin_rec709_scene", _ITU),
    ("ocio:itu709_rec709_scene", "Camera Rec.709", "Rec.709 camera curve (plain video)",
     "gamma", "bt709", "lin_rec709_scene", _ITU),
    ("g18_rec709_scene", "Gamma 1.8 Encoded Rec.709", "gamma 1.8, Rec.709 primaries",
     "gamma", "power_1.8", "lin_rec709_scene", _ITU),
    ("g22_rec709_scene", "Gamma 2.2 Encoded Rec.709", "gamma 2.2, Rec.709 primaries",
     "gamma", "power_2.2", "lin_rec709_scene", _ITU),
    ("ocio:g24_rec709_scene", "Gamma 2.4 Encoded Rec.709", "gamma 2.4, Rec.709 primaries",
     "gamma", "power_2.4", "lin_rec709_scene", _ITU),
    ("srgb_p3d65_scene", "sRGB Encoded P3-D65", "sRGB curve, P3 primaries (many phones)",
     "gamma", "srgb", "lin_p3d65_scene", _ITU),
    ("g22_adobergb_scene", "Gamma 2.2 Encoded AdobeRGB", "Adobe RGB (1998) picture",
     "gamma", "power_563/256", "lin_adobergb_scene", _ITU),
    ("srgb_ap1_scene", "sRGB Encoded AP1", "sRGB curve, AP1 primaries",
     "gamma", "srgb", "lin_ap1_scene", _ITU),
    ("g22_ap1_scene", "Gamma 2.2 Encoded AP1", "gamma 2.2, AP1 primaries",
     "gamma", "power_2.2", "lin_ap1_scene", _ITU),
    ("ocio:acescc_ap1_scene", "ACEScc", "ACEScc log", "log", "acescc", "lin_ap1_scene", _ASK),
    ("ocio:acescct_ap1_scene", "ACEScct", "ACEScct log", "log", "acescct", "lin_ap1_scene",
     _ASK),
    ("ocio:applelog_rec2020_scene", "Apple Log", "Apple Log", "log", "apple_log",
     "lin_rec2020_scene", _ASK),
    ("ocio:arrilogc3_awg3_scene", "ARRI LogC3 (EI800)", "ARRI LogC3 at EI 800", "log",
     "arri_logc3_ei800", "ocio:lin_awg3_scene", _ARRI),
    ("ocio:arrilogc4_awg4_scene", "ARRI LogC4", "ARRI LogC4", "log", "arri_logc4",
     "ocio:lin_awg4_scene", _ARRI),
    ("ocio:bmdfilm5_wg5_scene", "BMDFilm WideGamut Gen5", "Blackmagic Film, generation 5",
     "log", "blackmagic_film_5", "ocio:lin_bmdwg5_scene", _ASK),
    ("ocio:canonlog2_cgamutd55_scene", "CanonLog2 CinemaGamut D55",
     "Canon Log 2, Cinema Gamut, daylight", "log", "canon_log2", "ocio:lin_cgamutd55_scene",
     _TABLE),
    ("ocio:canonlog3_cgamutd55_scene", "CanonLog3 CinemaGamut D55",
     "Canon Log 3, Cinema Gamut, daylight", "log", "canon_log3", "ocio:lin_cgamutd55_scene",
     _TABLE),
    ("glimsum:canonlog_cgamutd55_scene", None, "Canon Log, Cinema Gamut, daylight", "log",
     "canon_log", "ocio:lin_cgamutd55_scene", _TABLE),
    ("ocio:djilog_dgamut_scene", "D-Log D-Gamut", "DJI D-Log", "log", "dji_d_log",
     "ocio:lin_dgamut_scene", _ASK),
    ("glimsum:flog_rec2020_scene", None, "Fujifilm F-Log, F-Gamut", "log", "fujifilm_f_log",
     "lin_rec2020_scene", _TABLE),
    ("glimsum:flog2_rec2020_scene", None, "Fujifilm F-Log2, F-Gamut", "log", "fujifilm_f_log2",
     "lin_rec2020_scene", _TABLE),
    ("glimsum:llog_rec2020_scene", None, "Leica L-Log", "log", "leica_l_log",
     "lin_rec2020_scene", _ASK),
    ("glimsum:nlog_rec2020_scene", None, "Nikon N-Log", "log", "nikon_n_log",
     "lin_rec2020_scene", ("unscaled", "the maker's formula is in 10-bit codes")),
    ("ocio:vlog_vgamut_scene", "V-Log V-Gamut", "Panasonic V-Log", "log", "panasonic_v_log",
     "ocio:lin_vgamut_scene", _TABLE),
    ("ocio:redlog3g10_rwg_scene", "Log3G10 REDWideGamutRGB", "RED Log3G10", "log",
     "red_log3g10", "ocio:lin_rwg_scene", _ASK),
    ("glimsum:slog2_sgamut_scene", None, "Sony S-Log2, S-Gamut", "log", "sony_s_log2",
     "ocio:lin_sgamut3_scene", _TABLE),
    ("ocio:slog3_sgamut3_scene", "S-Log3 S-Gamut3", "Sony S-Log3, S-Gamut3", "log",
     "sony_s_log3", "ocio:lin_sgamut3_scene", _TABLE),
    ("ocio:slog3_sgamut3cine_scene", "S-Log3 S-Gamut3.Cine", "Sony S-Log3, S-Gamut3.Cine",
     "log", "sony_s_log3", "ocio:lin_sgamut3cine_scene", _TABLE),
    ("ocio:slog3_sgamut3venice_scene", "S-Log3 Venice S-Gamut3",
     "Sony S-Log3, Venice S-Gamut3", "log", "sony_s_log3", "ocio:lin_sgamut3venice_scene",
     _TABLE),
    ("ocio:slog3_sgamut3cinevenice_scene", "S-Log3 Venice S-Gamut3.Cine",
     "Sony S-Log3, Venice S-Gamut3.Cine", "log", "sony_s_log3",
     "ocio:lin_sgamut3cinevenice_scene", _TABLE),
]  # fmt: skip

DATA = Space(
    id="data", config_name="Raw", label="data, not light: mattes and weights", kind="data",
    curve=None, linear="data", video_codes="scaled",
    video_source="our own rule: a matte in a clip is 0 at black and 1 at white",
)  # fmt: skip


def _all_spaces() -> dict[str, Space]:
    spaces = [
        Space(id=i, config_name=name, label=label, kind="linear", curve=None, linear=i,
              primaries=(red, green, blue, white))
        for i, name, label, red, green, blue, white in _OPEN_LINEAR
    ]  # fmt: skip
    spaces += [
        Space(id=i, config_name=name, label=f"linear light, {gamut}", kind="linear", curve=None,
              linear=i)
        for i, name, gamut in _CAMERA_LINEAR
    ]  # fmt: skip
    spaces += [
        Space(id=i, config_name=name, label=label, kind=kind, curve=curve, linear=linear,
              video_codes=codes, video_source=source)
        for i, name, label, kind, curve, linear, (codes, source) in _ENCODED
    ]  # fmt: skip
    return {space.id: space for space in [*spaces, DATA]}


SPACES: Mapping[str, Space] = MappingProxyType(_all_spaces())
"""Every space a pass may be in, by interop ID."""

WORKING_SPACES: tuple[str, ...] = tuple(i for i, space in SPACES.items() if space.primaries)
"""Spaces in which passes may be combined: linear, with published primaries."""
