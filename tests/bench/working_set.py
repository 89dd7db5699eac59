"""Peak memory of a worker, beside the pictures that it must hold."""

from pathlib import Path

from bench import frame_material as material
from bench.bare_frames import Made, await_bare, start_bare

INPUTS = len(material.LAMPS) + 1
LONG = 1000


def pictures_mb(label: str) -> float:
    """Return the size of the inputs and two pictures more, 32-bit floats, MB."""
    height, width = material.SIZES[label]
    return (INPUTS + 2) * height * width * 3 * 4 / 1e6


def make_alone(plates: Path, align: str, count: int) -> Made:
    """Return what one process told that made `count` frames."""
    out = plates.parent / f"memory_{align}"
    [made] = await_bare(start_bare(plates, out, align=align, count=count, processes=1))
    return made


def tell_memory(label: str, made: Made) -> None:
    """Print the peaks of a process and what they are over its working set."""
    whole = pictures_mb(label)
    after = ", ".join(f"{peak:.0f} after {count:,}" for count, peak in made.peaks.items())
    last = list(made.peaks.values())[-1]
    print(f"{label} peak memory of a worker with drift, MB: {after}")
    print(f"  {INPUTS} inputs and 2 more pictures are {whole:.0f} MB: {last / whole:.2f} times, "
          f"{last - whole:+.0f} MB")  # fmt: skip
