"""Versions of a shot whose passes are of every kind that compiled loops lay, made in this process.

Run as a program it first compiles ahead as a worker does, then says what the frames asked of the
compiler and which loops they called: ``python each_kind_of_frame.py FOLDER`` prints JSON.
"""

import json
import sys
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np
import OpenEXR
from av.video.frame import VideoFrame
from numpy.typing import NDArray
from PIL import Image

from glimsum_workers.compile_ahead import compile_everything, loop_files
from glimsum_workers.engine.registration.prepared import MOST_PIXELS, prepare
from glimsum_workers.light.kept_passes import LightRoom
from support.near_and_far import Layers
from support.run_here import HereRun, open_run, work_through
from support.small_shots import exr_pass, small_roots, small_shot, write_exr_pass
from unit.workers.frames.clip_making import write_clip
from unit.workers.frames.still_making import png

NUMBERS = (1, 2, 3)
SCENE = Layers(5, (216, 384))
SIZE = SCENE.size
"""As many pixels as compiled loops are worth, and few more."""


def seen(number: int, near: float = 0.0, down: float = 0.0) -> NDArray[np.float32]:
    """Return what a camera on the move sees, with a lamp in it; the near layer may lie off."""
    moved = number - 2
    picture = SCENE.see((3.0 * moved + near, down), (1.0 * moved, down))
    picture[100:104, 200:204] = 30.0
    grain = np.random.default_rng(number).normal(0, 0.002, picture.shape)
    return np.asarray(picture + grain, np.float32)


def write_halves(folder: Path, name: str, picture: Callable[[int], NDArray[np.float32]]) -> None:
    (folder / name).mkdir()
    for number in NUMBERS:
        with OpenEXR.File(
            {"compression": OpenEXR.ZIP_COMPRESSION, "type": OpenEXR.scanlineimage},
            {"RGB": picture(number).astype(np.float16)},
        ) as file:
            file.write(str(folder / name / f"{name}.{number:04d}.exr"))


def write_stills(folder: Path, name: str, bits: int, level: float) -> None:
    (folder / name).mkdir()
    for number in NUMBERS:
        file = folder / name / f"{name}.{number:04d}.png"
        codes = np.clip(level * seen(number), 0, 1) * (2**bits - 1)
        if bits == 16:
            file.write_bytes(png(codes.astype(np.uint16)))
        else:
            Image.fromarray(codes.astype(np.uint8)).save(file)


def clip_frame(number: int, size: tuple[int, int], pixel_format: str) -> VideoFrame:
    """Return a frame of a clip in full range of 8 bits, or the same in 10."""
    codes = (np.clip(0.6 * seen(number + 1), 0, 1) * 255).astype(np.uint8)
    assert codes.shape[1::-1] == size
    return VideoFrame.from_ndarray(codes, "rgb24").reformat(format=pixel_format)


def write_material(folder: Path) -> None:
    write_halves(folder, "beauty", seen)
    write_halves(folder, "lamp", lambda number: 0.4 * seen(number, near=0.9, down=0.3))
    write_halves(folder, "turned", lambda number: 0.3 * seen(number, down=0.4))
    write_halves(folder, "still", lambda number: 0.3 * seen(number))
    write_halves(folder, "window", lambda number: np.clip(seen(number), 0, 1))
    write_exr_pass(folder, "whole", {number: 0.2 * seen(number) for number in NUMBERS})
    write_halves(folder, "leak", lambda number: 0.001 * seen(number))
    write_stills(folder, "deep", 16, 0.8)
    write_stills(folder, "capped", 16, 0.01)
    write_stills(folder, "flat", 8, 0.8)
    for name, pixel_format in (("eight", "yuv420p"), ("ten", "yuv420p10le")):
        write_clip(
            folder / f"{name}.mp4",
            3,
            size=(SIZE[1], SIZE[0]),
            pixel_format=pixel_format,
            make=clip_frame,
        )


def passes() -> dict[str, Any]:
    still = {"exposure": {"stops": 0}, "space": "srgb_rec709_scene", "align": "shift"}
    clip = {
        "exposure": {"stops": 0},
        "space": "ocio:itu709_rec709_scene",
        "range": "limited",
        "align": "similarity",
        "start_offset": 0,
    }
    return {
        "beauty": exr_pass("beauty", white_balance={"gains": [1.1, 1, 0.9]}),
        "lamp": exr_pass("lamp", align="field"),
        "turned": exr_pass("turned", align="similarity", space="lin_rec709_scene"),
        "still": exr_pass("still", space="lin_rec709_scene"),
        "whole": exr_pass("whole"),
        "leak": exr_pass("leak", use="ambient"),
        "dim": exr_pass("still", ambient="leak"),
        "deep": {**still, "files": "plates:deep/deep.%04d.png", "dark": "capped"},
        "capped": {
            "space": still["space"],
            "files": "plates:capped/capped.%04d.png",
            "use": "dark",
        },
        "flat": {**still, "files": "plates:flat/flat.%04d.png"},
        "eight": {**clip, "files": "plates:eight.mp4"},
        "ten": {**clip, "files": "plates:ten.mp4"},
    }


def make_versions(folder: Path) -> list[HereRun]:
    """Make a version from its files, one that keeps light, and one of other gains from that."""
    told = passes()
    lamps = [name for name, each in told.items() if "use" not in each]
    recipe: list[dict[str, Any]] = [{"pass": name, "stops": -1} for name in lamps]
    recipe += [{"pass": name, "stops": -2, "matte": "window"} for name in ("still", "turned")]
    recipe += [{"pass": "lamp", "stops": -2, "tint_mired": 30}]
    room = LightRoom(budget_bytes=1 << 30, reserve_bytes=0)
    made = []
    for version, (keep, stops) in enumerate(
        (("none", -1), ("aligned", -0.7), ("aligned", -0.5)), 1
    ):
        job = small_shot(
            camera="moving",
            passes=told,
            mattes={"window": {"files": "plates:window/window.%04d.exr"}},
            reference="beauty",
            unit="beauty",
            recipe=[recipe[0], {**recipe[1], "stops": stops}, *recipe[2:]],
            viewing={"movie": "h264", "width": 64},
            keep=keep,
        )
        made.append(work_through(open_run(job, small_roots(folder), version=version), room=room))
    return made


def prepare_large() -> None:
    """Make a picture ready that has more pixels than are registered whole."""
    prepare(np.random.default_rng(6).random((1 + MOST_PIXELS // 2048, 2048), dtype=np.float32))


class Listener:
    """Hears what is asked of the compiler and which loops are called, from when it is made."""

    def __init__(self) -> None:
        self.asked: list[str] = []
        self.called: set[str] = set()
        self.loops: set[str] = set()
        dispatcher = import_module("numba.core.dispatcher").Dispatcher
        compile_now = dispatcher.compile

        def note(this: Any, signature: Any) -> Any:
            self.asked.append(f"{this.py_func.__name__}{signature}")
            return compile_now(this, signature)

        dispatcher.compile = note
        for name in loop_files():
            module = import_module(f"glimsum_workers.engine.compiled.{name}")
            for word, value in list(vars(module).items()):
                own = isinstance(value, dispatcher) and value.py_func.__module__ == module.__name__
                if own and value.signatures and not value._can_compile:
                    self.loops.add(word)
                    setattr(module, word, self._counted(word, value))

    def _counted(self, word: str, loop: Any) -> Any:
        def call(*given: Any) -> Any:
            self.called.add(word)
            return loop(*given)

        return call


def main() -> None:
    folder = Path(sys.argv[1])
    write_material(folder)
    assert compile_everything()
    heard = Listener()
    versions = make_versions(folder)
    prepare_large()
    told = {
        "frames": [sorted(each.combined) for each in versions],
        "states": [str(each.state) for each in versions],
        "asked": heard.asked,
        "called": sorted(heard.called),
        "loops": sorted(heard.loops),
    }
    sys.stdout.write(json.dumps(told))


if __name__ == "__main__":
    main()
