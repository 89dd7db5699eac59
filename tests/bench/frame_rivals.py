"""What a frame is measured against: the plain way, and scripts a good hand would write.

What they don't do is said with each. Both read and write with general libraries and shift by the
same amounts as the frame with `align: shift`; neither checks, limits lamps or says what it did.
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
    limits = "no limits at lamps (ours move some 6 % of samples here), no digests, no checks"
    both = {
        "opencv": ("OpenImageIO + OpenCV, same taps", rival_script, limits, 0.9),
        "scipy": ("numpy + scipy spline 3", rival_numpy, f"another kernel; {limits}", 0.0),
    }
    here = (sys.executable, __file__)
    return [
        Rival(name, partial(run, folder, out), out / f"{key}.exr", "shift", lacks,
              (*here, key, str(folder), str(out)), equal)
        for key, (name, run, lacks, equal) in both.items()
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
    matte = read_float(material.path_of(folder, "matte"))[..., 0]
    total: Any = None
    for name in material.LAMPS:
        rgb: Any = read_float(material.path_of(folder, name))
        dx, dy = material.MOVES[name][:2]
        taps = [interpolation_taps(np.asarray(each - np.floor(each))) for each in (dx, dy)]
        whole = np.floor([dx, dy]).astype(int)
        rgb = cv2.sepFilter2D(rgb, cv2.CV_32F, taps[0], taps[1], anchor=(3, 3),
                              borderType=cv2.BORDER_REPLICATE)  # fmt: skip
        rgb = cv2.warpAffine(rgb, np.array([[1, 0, -whole[0]], [0, 1, -whole[1]]], np.float64),
                             (rgb.shape[1], rgb.shape[0]), flags=cv2.INTER_NEAREST,
                             borderMode=cv2.BORDER_REPLICATE)  # fmt: skip
        gain = 2 ** material.STOPS[name]
        if name == "practicals":
            rgb, gain = cv2.transform(rgb, (gain * _tint()).astype(np.float32)), 1.0
        if name == "haze":
            rgb *= matte[..., None]
        total = rgb * np.float32(gain) if total is None else cv2.scaleAdd(rgb, gain, total)
    write_general(out / "opencv.exr", total)


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
    {"opencv": rival_script, "scipy": rival_numpy}[sys.argv[1]](*map(Path, sys.argv[2:4]))
    print(f"{peak_mb():.0f}")
