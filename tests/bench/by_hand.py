"""The same frame by hand: general-purpose tools a person has, each doing as much as it can.

Nothing is installed here; a tool that isn't there is named and left out. On Debian: ffmpeg,
imagemagick with libmagickcore-6.q16-6-extra (its OpenEXR); oiiotool comes with OpenImageIO's wheel.
Each runs with one thread and in our own malloc settings.
"""

import shutil
import subprocess
import sys
from functools import partial
from pathlib import Path

import numpy as np

from bench import frame_material as material
from bench.frame_rivals import Rival
from glimsum_workers.engine.tint import tint_matrix

NAMES = (*material.LAMPS, "matte")
MAGICK = ("convert-im6.q16", "convert-im7.q16", "magick-im7.q16")
"""As Debian calls them; a plain ``convert`` or ``magick`` may have another depth."""
FFMPEG_SHARE = 4
"""Its sums stop at 1.0, so light is halved twice before and doubled twice behind."""


def rivals_by_hand(folder: Path, out: Path) -> list[Rival]:
    """Return what can be run here; print what can't."""
    oiiotool = shutil.which("oiiotool", path=str(Path(sys.executable).parent)) or shutil.which(
        "oiiotool"
    )
    magick = next(filter(None, map(shutil.which, MAGICK)), None)
    found = []
    for name, tool, make in (
        ("oiiotool", oiiotool, _oiiotools),
        ("ffmpeg", shutil.which("ffmpeg"), _ffmpegs),
        ("ImageMagick Q16", magick, _magicks),
    ):
        if tool is None:
            print(f"  {name}: not installed here, left out")
            continue
        rivals = make(tool, folder, out)
        try:
            rivals[0].run()
        except RuntimeError as error:  # ImageMagick without its OpenEXR, an older ffmpeg
            print(f"  {name}: can't do it here, left out: {error}")
            continue
        found += rivals
    return found


def gains(name: str) -> np.ndarray:
    """Return gain and tint of a pass as one matrix, (3, 3), for columns of RGB."""
    mired = -40 if name == "practicals" else 0
    tint = tint_matrix(mired, lamp_kelvin=3200, space="lin_ap1_scene")
    return np.asarray(2 ** material.STOPS[name] * tint)


def in_words(matrix: np.ndarray, between: str) -> str:
    """Return the nine numbers of a matrix, row by row."""
    return between.join(f"{each:.9g}" for each in matrix.ravel())


def _oiiotools(tool: str, folder: Path, out: Path) -> list[Rival]:
    steady = _rival("oiiotool", _oiiotool(tool, folder, out / "oiiotool", moved=False))
    moving = _rival("oiiotool --warp", _oiiotool(tool, folder, out / "oiiotool_warp", moved=True))
    return [
        steady(out / "oiiotool.exr", peer="none", equal=0.999, lacks="no shift; gamma as view"),
        moving(out / "oiiotool_warp.exr", peer="shift", rounds=1,
               lacks="another kernel (lanczos3), no limits at lamps; run once after warm-up"),
    ]  # fmt: skip


def _oiiotool(tool: str, folder: Path, made: Path, *, moved: bool) -> list[str]:
    words = [tool, "--threads", "1"]
    for number, name in enumerate(material.LAMPS):
        words.append(str(material.path_of(folder, name)))
        if moved:
            dx, dy = material.MOVES[name][:2]
            words += ["--warp:filter=lanczos3:wrap=clamp", f"1,0,0,0,1,0,{-dx},{-dy},1"]
        if name == "practicals":
            words += ["--ccmatrix:transpose=1", in_words(gains(name), ",")]
        elif material.STOPS[name]:
            words += ["--mulc", f"{2 ** material.STOPS[name]:.9g}"]
        if name == "haze":
            words += [str(material.path_of(folder, "matte")), "--mul"]
        words += ["--add"] if number else []
    words += ["-d", "half", "--compression", "zip", "-o", f"{made}.exr"]
    view = ["--resize", "960x0", "--powc", "0.4545", "-d", "uint8", "-o", f"{made}.jpg"]
    return words + view


def _ffmpegs(tool: str, folder: Path, out: Path) -> list[Rival]:
    lacks = f"no shift; clipped above {FFMPEG_SHARE}; halves cut, not rounded; gamma as view"
    made = _rival("ffmpeg, 32-bit float", _ffmpeg(tool, folder, out))
    return [made(out / "ffmpeg.exr", peer="none", equal=0.999, lacks=lacks)]


def _ffmpeg(tool: str, folder: Path, out: Path) -> list[str]:
    words = [tool, "-hide_banner", "-loglevel", "error", "-nostdin", "-y"]
    words += ["-threads", "1", "-filter_threads", "1", "-filter_complex_threads", "1"]
    for name in NAMES:
        words += ["-i", str(material.path_of(folder, name))]
    letters = [f"{to}{of}" for to in "rgb" for of in "rgb"]
    chains = []
    for number, name in enumerate(material.LAMPS):
        numbers = (gains(name) / FFMPEG_SHARE).ravel()
        mix = ":".join(f"{pair}={each:.9g}" for pair, each in zip(letters, numbers, strict=True))
        chains.append(f"[{number}]format=gbrpf32le,colorchannelmixer={mix}[p{number}]")
    add = "blend=all_mode=addition"
    chains += [
        f"[4]format=gbrpf32le[m];[p2][m]blend=all_mode=multiply[h];[p0][p1]{add}[a];[a][h]{add}[b]",
        f"[b][p3]{add},exposure=exposure={FFMPEG_SHARE.bit_length() - 1},split[master][light]",
        "[light]format=gbrp16le,scale=960:-1:flags=area,format=gbrp,"
        + "lutrgb="
        + ":".join(f"{each}='255*pow(val/255,0.4545)'" for each in "rgb")
        + ",format=yuvj420p[view]",
    ]
    words += ["-filter_complex", ";".join(chains), "-map", "[master]", "-frames:v", "1"]
    words += ["-c:v", "exr", "-compression", "zip16", "-format", "half", str(out / "ffmpeg.exr")]
    return [*words, "-map", "[view]", "-frames:v", "1", str(out / "ffmpeg.jpg")]


def _magicks(tool: str, folder: Path, out: Path) -> list[Rival]:
    lacks = "16-bit whole numbers, clipped below 0 and above 1.0"
    steady = _rival("ImageMagick Q16", _magick(tool, folder, out / "magick", moved=False))
    moving = _rival("ImageMagick Q16, distort", _magick(tool, folder, out / "magick_d", moved=True))
    return [
        steady(out / "magick.exr", peer="none", ceiling=1.0, lacks=f"no shift; {lacks}"),
        moving(out / "magick_d.exr", peer="shift", ceiling=1.0,
               lacks=f"another kernel, no limits at lamps; {lacks}"),
    ]  # fmt: skip


def _magick(tool: str, folder: Path, made: Path, *, moved: bool) -> list[str]:
    words = [tool, "-limit", "thread", "1"]
    for number, name in enumerate(material.LAMPS):
        words += ["(", str(material.path_of(folder, name))]
        if moved:
            dx, dy = material.MOVES[name][:2]
            words += ["-virtual-pixel", "edge", "-filter", "point", "-interpolate", "catrom"]
            words += ["-distort", "Affine", f"0,0 {-dx},{-dy}"]
        if name == "practicals":
            words += ["-color-matrix", in_words(gains(name), " ")]
        elif material.STOPS[name]:
            words += ["-evaluate", "multiply", f"{2 ** material.STOPS[name]:.9g}"]
        if name == "haze":
            matte = str(material.path_of(folder, "matte"))
            words += [matte, "-compose", "multiply", "-composite"]
        words += [")", *(["-compose", "plus", "-composite"] if number else [])]
    words += ["-compress", "zip", "-write", f"{made}.exr"]
    return [*words, "-resize", "960x", "-colorspace", "sRGB", "-quality", "95", f"{made}.jpg"]


def _rival(name: str, command: list[str]) -> partial[Rival]:
    return partial(Rival, name, partial(run, command), command=tuple(command))


def run(command: list[str]) -> None:
    """Run a tool; what it says is shown when it fails."""
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        raise RuntimeError(
            f"{command[0]} ended with {done.returncode}: {done.stderr.strip()[-300:]}"
        )
