"""Damaged ZIP files: refused or read as they were written, never something else.

Source of what may be wrong: OpenEXR File Layout; check sums of deflated blocks: RFC 1950. A block
that is stored as it is has no check sum, so what is changed in it no reader finds: ours has to
give what the OpenEXR project's own library gives. Seeds beside the draws.
"""

import os
import tracemalloc
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from glimsum_jobs.errors import SourceError
from glimsum_workers.engine.codes import FloatPixels
from glimsum_workers.frames import half_files
from glimsum_workers.frames.exr_bytes import lay_out
from glimsum_workers.frames.stills import read_halves, read_still
from support.exr_damage import BLOCK_LINES, Damage, Laid, draw_damages, set_number
from support.half_planes import KINDS, bits_of, read_by_ours

SIZE = (161, 419)
SEED, ROUNDS = 20261126, 18
"""12 damages a round: 216 of each picture."""
MOST_BYTES = 2 * 6 * SIZE[0] * SIZE[1] + (2 << 20)
"""The planes, a header's worth of bytes, and as much again."""


def laid(kind: str) -> tuple[Laid, NDArray[np.uint16]]:
    made = next(each for each in KINDS if each.__name__ == kind)
    planes = made(SIZE, np.random.default_rng(SEED))
    return Laid(lay_out(planes, {}, "zip"), SIZE), bits_of(planes)


def read_whole(kind: str, folder: Path) -> None:
    """Read the file before anything is done to it; loads what the reader needs."""
    whole, true = laid(kind)
    (folder / "a.exr").write_bytes(whole.whole)
    np.testing.assert_array_equal(read_by_ours(folder / "a.exr", SIZE), true)


def damaged(kind: str, folder: Path) -> Iterator[tuple[Damage, Path, NDArray[np.uint16]]]:
    whole, true = laid(kind)
    for damage in draw_damages(whole, np.random.default_rng(SEED), ROUNDS):
        file = folder / "a.exr"
        file.write_bytes(damage.file)
        yield damage, file, true


def pixels_of(file: Path) -> NDArray[np.float32] | None:
    """Return what `read_still` gives, or None where it refuses."""
    descriptor = os.open(file, os.O_RDONLY)
    try:
        read = read_still(descriptor, file.name)
    except SourceError:
        return None
    finally:
        os.close(descriptor)
    assert isinstance(read, FloatPixels)
    return read.values


def halves_of(file: Path) -> NDArray[np.uint16] | None:
    descriptor = os.open(file, os.O_RDONLY)
    try:
        read = read_halves(descriptor, file.name)
    except SourceError:
        return None
    finally:
        os.close(descriptor)
    return None if read is None else np.stack([each.view(np.uint16) for each in read])


@pytest.mark.parametrize("kind", ["grain", "stripes", "gradient"])
def test_damage_is_told_or_does_no_harm(tmp_path: Path, kind: str) -> None:
    told = 0
    read_whole(kind, tmp_path)
    for damage, file, true in damaged(kind, tmp_path):
        tracemalloc.start()
        read = read_by_ours(file, SIZE)
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()

        assert peak < MOST_BYTES, damage.name
        told += read is None
        if read is not None and damage.bare:
            assert np.count_nonzero(read != true) == 1, damage.name
        elif read is not None:
            np.testing.assert_array_equal(read, true, damage.name)
    assert told > 100


@pytest.mark.parametrize("kind", ["grain", "stripes"])
def test_damage_gives_nothing_the_general_readers_would_not_give(
    tmp_path: Path, kind: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    for damage, file, true in damaged(kind, tmp_path):
        halves, still = halves_of(file), pixels_of(file)
        with monkeypatch.context() as patch:
            patch.setattr(half_files, "read_zip_planes", lambda *_: None)
            general_halves, general_still = halves_of(file), pixels_of(file)

        if not (halves is None or np.array_equal(halves, true)):
            np.testing.assert_array_equal(halves, general_halves, damage.name)
        expected = np.moveaxis(true.view(np.float16), 0, 2).astype(np.float32)
        if not (still is None or np.array_equal(still, expected, equal_nan=True)):
            np.testing.assert_array_equal(still, general_still, damage.name)
        assert still is not None or general_still is None, damage.name


def test_a_sample_changed_where_there_is_no_check_sum_is_read_as_the_library_reads_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    compared = 0
    for damage, file, _ in damaged("any_bits", tmp_path):
        if not damage.bare:
            continue
        compared += 1
        with monkeypatch.context() as patch:
            patch.setattr(half_files, "read_zip_planes", lambda *_: None)
            expected = halves_of(file)

        np.testing.assert_array_equal(read_by_ours(file, SIZE), expected)
    assert compared > 5


def test_a_length_that_says_stored_is_believed_as_the_library_believes_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A block as long as its samples is not deflated, says the file layout: no check sum again."""
    whole, _ = laid("grain")
    block, file = whole.places[3], tmp_path / "a.exr"
    stored = 6 * BLOCK_LINES * SIZE[1]
    file.write_bytes(set_number(whole, block + 4, "<I", stored).file)
    with monkeypatch.context() as patch:
        patch.setattr(half_files, "read_zip_planes", lambda *_: None)
        expected = halves_of(file)

    assert expected is not None
    np.testing.assert_array_equal(read_by_ours(file, SIZE), expected)
