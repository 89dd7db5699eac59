"""Planes of half floats of every kind of light, and how files of them are read by ours."""

import os
from collections.abc import Callable, Mapping
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.frames.scan_lines import read_zip_planes

Bits = NDArray[np.uint16]
Planes = dict[str, NDArray[np.float16]]
"""By channel: B, G, R."""


def any_bits(size: tuple[int, int], random: np.random.Generator) -> Planes:
    """Return random bits, NaN and infinity among them: blocks that no deflate makes smaller."""
    drawn = random.integers(0, 1 << 16, (3, *size), np.uint16)
    drawn.reshape(3, -1)[:, :4] = [0x7C00, 0xFC00, 0x7E01, 0x8000]
    return named(drawn.view(np.float16))


def black(size: tuple[int, int], random: np.random.Generator) -> Planes:
    """Return nothing but zeros."""
    return named(np.zeros((3, *size), np.float16))


def gradient(size: tuple[int, int], random: np.random.Generator) -> Planes:
    """Return light that grows to the right and downwards, without noise."""
    y, x = np.mgrid[: size[0], : size[1]]
    return named(np.stack([x / 300, y / 200, (x + y) / 900]).astype(np.float16))


def grain(size: tuple[int, int], random: np.random.Generator) -> Planes:
    """Return a gradient with grain: noise in the low bytes, smooth high ones."""
    given = np.stack(list(gradient(size, random).values())).astype(np.float32)
    noise = random.standard_normal(given.shape, np.float32)
    return named((given * (1 + 0.02 * noise)).astype(np.float16))


def stripes(size: tuple[int, int], random: np.random.Generator) -> Planes:
    """Return 16 lines of random bits after 16 black ones, and so on."""
    noise, dark = any_bits(size, random), np.arange(size[0]) // 16 % 2 == 0
    for each in noise.values():
        each[dark] = 0
    return noise


KINDS: tuple[Callable[[tuple[int, int], np.random.Generator], Planes], ...] = (
    any_bits, black, gradient, grain, stripes,
)  # fmt: skip


def named(planes: NDArray[np.float16]) -> Planes:
    """Return planes by their channels."""
    return {name: np.ascontiguousarray(each) for name, each in zip("BGR", planes, strict=True)}


def bits_of(planes: Mapping[str, NDArray[np.float16]]) -> Bits:
    """Return red, green and blue as they are stored: (3, height, width)."""
    return np.stack([planes[name].view(np.uint16) for name in "RGB"])


def read_by_ours(file: Path, size: tuple[int, int]) -> Bits | None:
    """Return red, green and blue as `read_zip_planes` reads them: (3, height, width), or None."""
    descriptor = os.open(file, os.O_RDONLY)
    try:
        read = read_zip_planes(descriptor, size)
    finally:
        os.close(descriptor)
    return None if read is None else np.stack([each.view(np.uint16) for each in read])
