"""What a frame is measured against: the plain way, and scripts a good hand would write.

What they don't do is said with each. All read and write with general libraries and move passes by
the same amounts as the frame with the `align` named; none checks or says what it did.
"""

import sys
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any
from unittest import mock

import cv2
import numpy as np
import OpenImageIO
from numpy.typing import NDArray
from scipy import ndimage

from bench import frame_material as material
from bench.machine_use import peak_mb
from glimsum_workers.combine_frame import ShotBench
from glimsum_workers.engine import combine
from glimsum_workers.engine.resample import resample as resampling
from glimsum_workers.engine.resample.kernels import interpolation_taps
from glimsum_workers.engine.tint import tint_matrix
from glimsum_workers.light.passes import ShotLight

OpenImageIO.attribute("threads", 1)
OpenImageIO.attribute("exr_threads", -1)
cv2.setNumThreads(1)


@dataclass(frozen=True)
class Rival:
    """Another way to make the frame.

    Attributes
    ----------
    name : str
        Its row.
    run : callable
        Makes master and view.
    made : Path
        The master.
    peer : str
        The `align` of ours that does the same work, or the nearest to it.
    lacks : str
        What it does not do.
    command : tuple of str
        Makes the same in a process of its own.
    equal : float
        Share of samples that must be ours; 0 where another picture is to be expected.
    ceiling : float
        Above it, and below 0, it stores nothing.
    rounds : int
        Most rounds it is measured.
    """

    name: str
    run: Callable[[], object]
    made: Path
    peer: str
    lacks: str
    command: tuple[str, ...] = ()
    equal: float = 0.0
    ceiling: float = float("inf")
    rounds: int = 99


def script_rivals(folder: Path, out: Path) -> list[Rival]:
    """Return the scripts that need only Python's libraries."""
    silent = "no digests, no checks"
    limits = f"no limits at lamps (ours move some 6 % of samples here), {silent}"
    places = f"places to 1/32 pixel; {limits}"
    rows = {
        "opencv": ("OpenImageIO + OpenCV, same taps", rival_script, "shift", limits, 0.9),
        "limited": ("the same, lamps limited as ours", rival_limited, "shift", silent, 0.995),
        "turned": ("OpenImageIO + OpenCV, Lanczos 4", rival_turned, "similarity", places, 0.0),
        "scipy": ("numpy + scipy spline 3", rival_numpy, "shift", f"another kernel; {limits}", 0.0),
    }
    here = (sys.executable, __file__)
    return [
        Rival(name, partial(run, folder, out), out / f"{key}.exr", peer, lacks,
              (*here, key, str(folder), str(out)), equal)
        for key, (name, run, peer, lacks, equal) in rows.items()
    ]  # fmt: skip


def plain_reference(bench: ShotBench, frame: int) -> NDArray[np.float64]:
    """Return the frame by numpy, step by step, as float64: nothing compiled has touched it."""
    small = mock.Mock(return_value=False)
    with (
        mock.patch.object(combine, "is_worth_it", small),
        mock.patch.object(resampling, "is_worth_it", small),
        mock.patch.object(ShotLight, "_in_one_walk", return_value=None),
    ):
        return bench.combine(frame, lambda: None).picture.rgb.astype(np.float64)


def read_float(path: Path) -> NDArray[np.float32]:
    """Read one file with the general library, halves first, then as float."""
    picture = OpenImageIO.ImageInput.open(str(path))
    assert picture is not None, OpenImageIO.geterror()
    pixels = picture.read_image(0, 0, 0, 3, "half")
    picture.close()
    return np.asarray(pixels).astype(np.float32)


def read_general(folder: Path, names: tuple[str, ...]) -> None:
    """Read all files so."""
    for name in names:
        read_float(material.path_of(folder, name))


def write_general(made: Path, rgb: NDArray[np.float32]) -> None:
    """Write a ZIP master and a JPEG of 960 pixels with general libraries; a plain gamma as view."""
    spec = OpenImageIO.ImageSpec(rgb.shape[1], rgb.shape[0], 3, "half")
    spec.attribute("compression", "zip")
    file = OpenImageIO.ImageOutput.create(str(made))
    assert file is not None, OpenImageIO.geterror()
    assert file.open(str(made), spec), file.geterror()
    assert file.write_image(rgb), file.geterror()
    file.close()
    small = cv2.resize(rgb, (960, 540), interpolation=cv2.INTER_AREA)
    codes = (255 * np.clip(small, 0, 1) ** (1 / 2.2)).astype(np.uint8)
    assert cv2.imwrite(str(made.with_suffix(".jpg")), codes[..., ::-1])


def rival_script(folder: Path, out: Path) -> None:
    """OpenImageIO and OpenCV, the same eight taps; no rotation, no limits at lamps, no digests."""
    write_general(out / "opencv.exr", _sum_up(folder, _shift))


def rival_limited(folder: Path, out: Path) -> None:
    """The same, and beside lamps the new samples kept within the four next to them."""

    def move(rgb: Any, name: str) -> Any:
        return _shift(rgb, name, _limit)

    write_general(out / "limited.exr", _sum_up(folder, move))


def rival_turned(folder: Path, out: Path) -> None:
    """Shift, rotation and scale by OpenCV's own warp, eight taps from its table."""
    write_general(out / "turned.exr", _sum_up(folder, _turn))


def _sum_up(folder: Path, move: Callable[[Any, str], Any]) -> Any:
    matte = read_float(material.path_of(folder, "matte"))[..., 0]
    total: Any = None
    for name in material.LAMPS:
        rgb = move(read_float(material.path_of(folder, name)), name)
        gain = 2 ** material.STOPS[name]
        if name == "practicals":
            rgb, gain = cv2.transform(rgb, (gain * _tint()).astype(np.float32)), 1.0
        if name == "haze":
            rgb *= matte[..., None]
        total = rgb * np.float32(gain) if total is None else cv2.scaleAdd(rgb, gain, total)
    return total


def _shift(rgb: Any, name: str, limit: Callable[[Any, Any], Any] | None = None) -> Any:
    dx, dy = material.MOVES[name][:2]
    taps = [interpolation_taps(np.asarray(each - np.floor(each))) for each in (dx, dy)]
    whole = np.floor([dx, dy]).astype(int)
    between = cv2.sepFilter2D(rgb, cv2.CV_32F, taps[0], taps[1], anchor=(3, 3),
                              borderType=cv2.BORDER_REPLICATE)  # fmt: skip
    if limit is not None:
        between = limit(rgb, between)
    return cv2.warpAffine(between, np.array([[1, 0, -whole[0]], [0, 1, -whole[1]]], np.float64),
                          (rgb.shape[1], rgb.shape[0]), flags=cv2.INTER_NEAREST,
                          borderMode=cv2.BORDER_REPLICATE)  # fmt: skip


def _limit(rgb: Any, between: Any) -> Any:
    """Keep samples in and beside blocks of 4 x 4 with a lamp within their neighbours."""
    high, low = (
        np.ascontiguousarray(_extreme(pick, rgb, 4)[::4, ::4]) for pick in (cv2.dilate, cv2.erode)
    )
    spans = (high - low)[::3, ::3].reshape(-1, 3).T
    floor = 7 * max(float(np.percentile(each[each > 0], 10)) for each in spans)
    about = np.ones((3, 3), np.uint8)
    high, low = cv2.dilate(high, about), cv2.erode(low, about)
    lamps: Any = (high > 2 * np.maximum(low, 0) + np.float32(floor)).any(axis=2).astype(np.uint8)
    size = (4 * lamps.shape[1], 4 * lamps.shape[0])
    beside = cv2.resize(lamps, size, interpolation=cv2.INTER_NEAREST)
    least, most = (_extreme(pick, rgb, 2) for pick in (cv2.erode, cv2.dilate))
    within = cv2.min(cv2.max(between, least), most)
    return cv2.copyTo(within, beside[: rgb.shape[0], : rgb.shape[1]], between)


def _extreme(pick: Any, rgb: Any, side: int) -> Any:
    """Return the extreme of each pixel and those right of and below it."""
    about = np.ones((side, side), np.uint8)
    return pick(rgb, about, anchor=(0, 0), borderType=cv2.BORDER_REPLICATE)


def _turn(rgb: Any, name: str) -> Any:
    dx, dy, degrees, scale = material.MOVES[name]
    height, width = rgb.shape[:2]
    turn = np.radians(degrees)
    way = scale * np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    centre = np.array([(width - 1) / 2, (height - 1) / 2])
    warp = np.column_stack([way, centre - way @ centre + (dx, dy)])
    return cv2.warpAffine(rgb, warp, (width, height), borderMode=cv2.BORDER_REPLICATE,
                          flags=cv2.INTER_LANCZOS4 | cv2.WARP_INVERSE_MAP)  # fmt: skip


def rival_numpy(folder: Path, out: Path) -> None:
    """numpy and SciPy's cubic spline, channel by channel; another kernel."""
    matte = read_float(material.path_of(folder, "matte"))[..., :1]
    total: Any = np.float32(0)
    for name in material.LAMPS:
        rgb = read_float(material.path_of(folder, name))
        dx, dy = material.MOVES[name][:2]
        moved: Any = np.dstack([
            ndimage.shift(rgb[..., channel], (-dy, -dx), order=3, mode="nearest")
            for channel in range(3)
        ])  # fmt: skip
        if name == "practicals":
            moved = moved @ _tint().T.astype(np.float32)
        if name == "haze":
            moved *= matte
        total = total + np.float32(2 ** material.STOPS[name]) * moved
    write_general(out / "scipy.exr", np.ascontiguousarray(total, np.float32))


def _tint() -> NDArray[np.float64]:
    return np.asarray(tint_matrix(-40, lamp_kelvin=3200, space="lin_ap1_scene"))


if __name__ == "__main__":  # one script in a process of its own, for its memory
    scripts = {
        "opencv": rival_script,
        "limited": rival_limited,
        "turned": rival_turned,
        "scipy": rival_numpy,
    }
    scripts[sys.argv[1]](*map(Path, sys.argv[2:4]))
    print(f"{peak_mb():.0f}")
