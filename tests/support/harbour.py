"""The harbour passes and their truth: the part shipped here, and the full set when present.

The shipped part is the first eight frames of the moving shot: its passes are the demo's
(``glimsum_services/demo/passes``), its truth lies in ``tests/data/harbour``. The full set holds
ten moving frames, the locked shot and the raw brackets, and is looked for in the folder that
GLIMSUM_SHARED names, else in ``../shared`` beside the project.

Everything is computed by ray tracing in linear light, with faults put in on purpose; the truth
comes from the scene, not from any code of this project.
"""

import json
import os
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np
import OpenImageIO
import pytest
from numpy.typing import NDArray

from support.harbour_motion import STILL, Drift

PROJECT = Path(__file__).resolve().parents[2]
TRUTH = PROJECT / "tests" / "data" / "harbour"
LAMPS = ("beauty", "practicals", "haze", "flash")
"""The passes whose light adds up to the photograph with all lamps on (flash on its lit frames)."""


@dataclass(frozen=True)
class HarbourShot:
    """One harbour shot: where its passes and its truth lie, and what is known of each frame."""

    name: str
    passes: Path
    truth: Path
    facts: Mapping[str, Any]
    """The shot's part of ``truth.json``."""

    @property
    def frames(self) -> range:
        """Shot frames, counted from 0."""
        return range(self.facts["frames"])

    def pass_facts(self, name: str) -> Mapping[str, Any]:
        """Return what ``truth.json`` says of the pass."""
        facts: Mapping[str, Any] = self.facts["passes"][name]
        return facts

    def frame_facts(self, name: str, frame: int) -> Mapping[str, Any]:
        """Return what ``truth.json`` says of one frame of the pass (lead-in: negative numbers)."""
        for facts in self.pass_facts(name)["frames"]:
            if facts["shot_frame"] == frame:
                return dict(facts)
        raise KeyError(f"shot {self.name}, pass {name}: no truth for shot frame {frame}")

    def file_number(self, name: str, frame: int) -> int:
        """Return the number in the name of the file (in a clip: the picture) of a shot frame."""
        return int(self.pass_facts(name)["file_number_of_shot_frame_0"]) + frame

    def file(self, name: str, frame: int) -> Path:
        """Return the file of a shot frame; every frame of a clip lies in the same file."""
        pattern = str(self.pass_facts(name)["encoding"]["files"])
        if "%" in pattern:
            pattern %= self.file_number(name, frame)
        return self.passes / pattern

    def space(self, name: str) -> str:
        """Return the coding of the pass: ``acescct``, ``srgb`` or ``rec709``."""
        words = str(self.pass_facts(name)["encoding"]["colour_space"])
        return {"ACEScct": "acescct", "sRGB": "srgb", "Rec.709": "rec709"}[
            words.split(maxsplit=1)[0]
        ]

    def exposure_stops(self, name: str) -> float:
        """Return the light of the pass against the scene's own, in stops."""
        return float(self.pass_facts(name)["exposure_stops"])

    def black_offset(self, name: str) -> NDArray[np.float32]:
        """Return the black offset of the pass, linear R G B as recorded."""
        return np.asarray(self.pass_facts(name)["black_offset_linear_rgb"], dtype=np.float32)

    def flicker(self, name: str, frame: int) -> float:
        """Return the true lamp gain of the frame (it multiplies the leak of that frame too)."""
        return float(self.frame_facts(name, frame)["flicker_gain"])

    def is_lit(self, name: str, frame: int) -> bool:
        """Return whether the lamp of the pass burns on the shot frame."""
        return name != "flash" or frame in self.facts["flash_lit_frames"]

    def lamps(self, frame: int) -> list[str]:
        """Return the passes whose light is in the all-lights truth of the frame."""
        return [name for name in LAMPS if self.is_lit(name, frame)]

    def all_lights(self, frame: int) -> NDArray[np.float32]:
        """Return the true photograph with all lamps on: (h, w, 3), linear Rec.709, no leak."""
        numbered = self.truth / f"all_lights.{frame:04d}.exr"
        state = "on" if self.is_lit("flash", frame) else "off"
        held = self.truth / f"all_lights_flash_{state}.exr"
        return read_pixels(numbered if numbered.exists() else held)

    def alone(self, name: str) -> NDArray[np.float32]:
        """Return the true light of one lamp (moving shot: at frame 5), in the reference camera."""
        numbered = self.truth / f"{name}_alone.0005.exr"
        return read_pixels(numbered if numbered.exists() else self.truth / f"{name}_alone.exr")

    def set_coverage(self) -> NDArray[np.float32]:
        """Return the true matte of the set, 0..1, (h, w); moving shot: at frame 5."""
        numbered = self.truth / "set_coverage.0005.png"
        found = numbered if numbered.exists() else self.truth / "set_coverage.png"
        return read_pixels(found)[..., 0]


def true_drift(shot: HarbourShot, pass_name: str, frame: int) -> Drift:
    """Return the true drift of a frame against the reference camera.

    Dark flash frames of the moving shot were recorded without drift and answer `STILL`; lead-in
    frames have no reference frame and raise KeyError.
    """
    facts = shot.frame_facts(pass_name, frame).get("drift")
    if facts is None:
        raise KeyError(f"shot {shot.name}, pass {pass_name}: shot frame {frame} has no true drift")
    drift = Drift(facts["dx"], facts["dy"], facts["rotation_deg"], facts["scale"])
    return STILL if drift == STILL else drift


def shipped_harbour() -> HarbourShot:
    """Return the moving shot's first eight frames, which every checkout has."""
    found = find_spec("glimsum_services")
    if found is None or found.origin is None:
        raise ModuleNotFoundError("glimsum_services is not importable: its demo holds the passes")
    passes = Path(found.origin).parent / "demo" / "passes"
    return HarbourShot("moving", passes, TRUTH, _read_truth(TRUTH)["moving"])


def full_harbour() -> Path | None:
    """Return the folder of the full set, or None where it is not present."""
    named = os.environ.get("GLIMSUM_SHARED")
    shared = Path(named) if named else PROJECT.parent / "shared"
    folder = shared / "data" / "harbour"
    return folder if (folder / "truth.json").is_file() else None


def require_full_harbour() -> Path:
    """Return the folder of the full set; without it skip the test, or fail it where CI=true."""
    folder = full_harbour()
    if folder is not None:
        return folder
    why = "the full harbour set is absent: let GLIMSUM_SHARED name the folder holding data/harbour"
    if os.environ.get("CI") == "true":
        pytest.fail(f"CI=true and {why}")
    pytest.skip(why)


def full_shot(folder: Path, name: str) -> HarbourShot:
    """Return the shot ``moving`` or ``locked`` of the full set."""
    return HarbourShot(name, folder / name, folder / name / "truth", _read_truth(folder)[name])


def read_pixels(path: Path) -> NDArray[np.float32]:
    """Read a picture as float32 (h, w, channels): floats as stored, integers over their maximum."""
    opened = OpenImageIO.ImageInput.open(str(path))
    if opened is None:
        raise FileNotFoundError(f"{path}: {OpenImageIO.geterror()}")
    try:
        return np.array(opened.read_image("float"), dtype=np.float32)
    finally:
        opened.close()


def _read_truth(folder: Path) -> dict[str, Any]:
    shots: dict[str, Any] = json.loads((folder / "truth.json").read_text("utf-8"))["shots"]
    return shots
