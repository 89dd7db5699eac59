"""CPU of combining a frame again with other gains: from its files, and from kept light.

``python tests/bench/bench_kept.py [--width 3840] [--rounds 5]``

Five passes with drift and tint: half OpenEXR (ZIP), laid in one walk, and 8-bit
PNG that need a curve. Rounds are interleaved; the pixels are compared first.
"""

import argparse
import statistics
import sys
import tempfile
import time
from contextlib import closing
from pathlib import Path

import numpy as np
import OpenEXR
from PIL import Image

sys.path[:0] = [
    str(Path(__file__).parents[2] / part) for part in ("jobs", "workers", "services", "tests")
]

from glimsum_jobs.kept_room import light_bytes  # noqa: E402  # the paths come first
from glimsum_jobs.measurements import Solved  # noqa: E402  # the same
from glimsum_jobs.shot import ShotJob  # noqa: E402  # the same
from glimsum_jobs.tracks import PassTrack, Placed  # noqa: E402  # the same
from glimsum_workers.check_shot import check_shot  # noqa: E402  # the same
from glimsum_workers.combine_frame import ShotBench  # noqa: E402  # the same
from glimsum_workers.frames.kept import Keep  # noqa: E402  # the same
from glimsum_workers.frames.kept_light import LightStore  # noqa: E402  # the same
from glimsum_workers.frames.roots import Roots  # noqa: E402  # the same
from support.small_shots import exr_pass, small_roots, small_shot  # noqa: E402  # the same

NAMES = [f"lamp_{index}" for index in range(5)]
FRAME = 1001


def main() -> None:
    """Print a line a kind of file."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--width", type=int, default=3840)
    parser.add_argument("--rounds", type=int, default=5)
    asked = parser.parse_args()
    size = asked.width * 9 // 16, asked.width
    print(f"{size[1]} x {size[0]}, 5 passes with drift; CPU ms a frame, medians of {asked.rounds}")
    print("files     from files  first, kept  from kept  kept over files   kept MB")
    with tempfile.TemporaryDirectory() as name:
        for kind in ("exr", "png"):
            _compare(Path(name), kind, size, asked.rounds)


def _compare(folder: Path, kind: str, size: tuple[int, int], rounds: int) -> None:
    job = _shot(folder, kind, size)
    roots = Roots(small_roots(folder))
    checked = check_shot(job, roots, Keep(folder / "kept"))
    placed = {
        name: Placed(dx=1.3 * index, dy=-0.4 * index, rotation_deg=0.01 * index, scale=1.0001,
                     sigma_px=0.01, trusted=True, source="measured")
        for index, name in enumerate(NAMES)
    }  # fmt: skip
    tracks = {name: PassTrack(frames={FRAME: each}) for name, each in placed.items()}
    solved = Solved(averages={}, levels={}, tracks=tracks, problems=(), revision="bench")

    def combine(store: LightStore | None) -> tuple[float, np.ndarray]:
        with closing(ShotBench(job, checked, solved, roots, Keep(folder / "kept"), store)) as bench:
            begun = time.process_time()
            made = bench.combine(FRAME, lambda: None)
            return time.process_time() - begun, made.picture.rgb

    plenty, first, files, kept = 1 << 40, [], [], []
    truth = combine(None)[1]
    for number in range(rounds + 1):
        light = folder / f"light_{kind}_{number}"
        one, two, three = (
            combine(None),
            combine(LightStore(light, plenty)),
            combine(LightStore(light, plenty)),
        )
        if any(not np.array_equal(each[1], truth) for each in (one, two, three)):
            raise SystemExit("the pixels differ")
        if number:
            files.append(one[0])
            first.append(two[0])
            kept.append(three[0])
        for file in light.iterdir():
            file.unlink()
    ms = [1000 * statistics.median(each) for each in (files, first, kept)]
    ratio = statistics.median(k / f for k, f in zip(kept, files, strict=True))
    print(f"{kind:9s} {ms[0]:10.0f} {ms[1]:12.0f} {ms[2]:10.0f} {ratio:16.2f} "
          f"{light_bytes(job, checked) / 1e6:9.0f}")  # fmt: skip


def _shot(folder: Path, kind: str, size: tuple[int, int]) -> ShotJob:
    rng = np.random.default_rng(7)
    rough = rng.normal(0, 1, (size[0] // 8 + 1, size[1] // 8 + 1, 3)).repeat(8, 0).repeat(8, 1)
    smooth = 0.3 + 0.1 * rough[: size[0], : size[1]]
    passes = {}
    for index, name in enumerate(NAMES):
        light = np.clip(smooth + rng.normal(0, 0.01, smooth.shape), 0.01, 0.95)
        where = folder / kind / name
        where.mkdir(parents=True, exist_ok=True)
        space = "lin_ap1_scene" if kind == "exr" else "srgb_rec709_scene"
        if kind == "exr":
            planes = {c: np.ascontiguousarray(light[..., i], np.float16)
                      for i, c in enumerate("RGB")}  # fmt: skip
            header = {"compression": OpenEXR.ZIP_COMPRESSION, "type": OpenEXR.scanlineimage}
            with OpenEXR.File(header, planes) as file:
                file.write(str(where / f"{name}.0001.exr"))
        else:
            codes = (light * 255).astype(np.uint8)
            Image.fromarray(codes).save(where / f"{name}.0001.png", compress_level=1)
        passes[name] = exr_pass(name) | {
            "files": f"plates:{kind}/{name}/{name}.%04d.{kind}",
            "space": space,
            "align": "none" if index == 0 else "similarity",
        }
    steps = [{"pass": name, "stops": -index / 3, "tint_mired": 5 * index}
             for index, name in enumerate(NAMES)]  # fmt: skip
    return small_shot(frames={"first": FRAME, "last": FRAME}, passes=passes, recipe=steps,
                      reference=NAMES[0], viewing={"width": 960})  # fmt: skip


if __name__ == "__main__":
    main()
