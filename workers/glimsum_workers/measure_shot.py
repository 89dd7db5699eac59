"""What is measured once: averages of darks and ambients, and samples of the level."""

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.errors import SourceError
from glimsum_jobs.measurements import Averaged, Sampled
from glimsum_jobs.passes import Pass
from glimsum_jobs.problems import Place
from glimsum_jobs.shot import ShotJob
from glimsum_workers.engine.codes import Image
from glimsum_workers.engine.dark import Averager
from glimsum_workers.engine.hot_pixels import find_hot_pixels
from glimsum_workers.engine.level.sample import cell_of, unclipped_cells
from glimsum_workers.engine.metrics import block_means
from glimsum_workers.footage.digests import digest_of
from glimsum_workers.footage.material import Material
from glimsum_workers.footage.recorded import decode_pass, exposed, stops_of
from glimsum_workers.frames.kept import Keep

MEASURE_EPOCH = 1
"""Raised whenever measuring the same files gives other numbers."""

LEVEL_EPOCH = 2
"""Raised whenever sampling the level of the same files gives other numbers."""


def average_pass(job: ShotJob, name: str, material: Material, keep: Keep) -> Averaged:
    """Average all files of a dark, ambient or backing pass and find its hot pixels.

    Parameters
    ----------
    job : ShotJob
        The shot.
    name : str
        Pass with a use.
    material : Material
        Reads the files.
    keep : Keep
        Where the average is kept; an average of the same files is found again.

    Returns
    -------
    Averaged
        Where it is kept, and its figures.

    Raises
    ------
    SourceError
        If no file of the pass can be read.
    """
    each = job.passes[name]
    numbers = material.file_numbers(name)
    key = digest_of(
        "average",
        MEASURE_EPOCH,
        [material.file_fingerprint(name, number) for number in numbers],
        each.space,
        each.range,
        each.crop and each.crop.model_dump(),
        each.use,
    )
    arrays = keep.get(key)
    if arrays is None:
        arrays = _average(each, name, numbers, material, job.shot)
        keep.put(key, **arrays)
    mean, noise = arrays["mean"], arrays["noise"]
    return Averaged(
        pass_name=name,
        key=key,
        frames=int(arrays["frames"]),
        mean=_three(mean.mean(axis=(0, 1), dtype=np.float64)),
        noise=_three(noise),
        hot_pixels=int(arrays["hot"].any(axis=2).sum()),
    )


def _average(
    each: Pass, name: str, numbers: Sequence[int], material: Material, shot: str
) -> dict[str, np.ndarray]:
    averager = Averager()
    for number in numbers:
        try:
            codes = material.file_codes(name, number)
        except SourceError:
            continue  # the check has named it; the others make the average
        averager.add(decode_pass(each, codes).picture.rgb)
    if averager.count == 0:
        raise SourceError(
            f"no file of pass {name} can be read",
            place=Place(shot=shot, pass_name=name, file=each.files),
            seen=f"{len(numbers)} files, none whole",
            expected="at least one whole file",
            remedy="Copy the pass from the card again.",
        )
    average = averager.result()
    single = average.variance.mean(axis=(0, 1), dtype=np.float64) * average.count
    return {
        "mean": average.mean,
        "noise": np.sqrt(single),
        "hot": find_hot_pixels(average.mean, lit=each.use != "dark"),
        "frames": np.asarray(average.count),
    }


def sample_level(job: ShotJob, name: str, frame: int, material: Material, keep: Keep) -> Sampled:
    """Take the small picture of a pass on a frame from which its level is solved.

    Dark and ambient are still in it, for a sample is linear in the light: they are taken from
    the samples when their averages are known.
    """
    each = job.passes[name]
    key = digest_of(
        "level",
        LEVEL_EPOCH,
        material.pass_fingerprint(name, frame),
        each.space,
        each.range,
        each.crop and each.crop.model_dump(),
        each.white_balance and each.white_balance.gains,
        stops_of(job, name),
    )
    if keep.get(key) is None:
        recorded = decode_pass(each, material.pass_codes(name, frame))
        cell_px = cell_of(recorded.picture.rgb.shape[1])
        valid = unclipped_cells(recorded.picture.rgb, recorded.clipped, cell_px)
        cells = sample_cells(job, name, recorded.picture.rgb)
        keep.put(key, cells=cells, valid=valid, cell_px=np.asarray(cell_px))
    return Sampled(pass_name=name, frame=frame, key=key)


def sample_cells(job: ShotJob, name: str, rgb: Image) -> Image:
    """Return the cell means of a picture of a pass as recorded; `rgb` is used up.

    Equalised, in the camera's own primaries: (rows, columns, 3).
    """
    return block_means(exposed(job, name, rgb), cell_of(rgb.shape[1]))


def _three(values: NDArray[Any]) -> tuple[float, float, float]:
    red, green, blue = (float(value) for value in values)
    return red, green, blue
