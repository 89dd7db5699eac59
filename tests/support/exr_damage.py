"""OpenEXR files with something wrong in them, drawn from a seed.

Places by the OpenEXR File Layout: after the header a table of block places, 64 bits each; each
block begins with its first line and its length, 32 bits each.
"""

import struct
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

BLOCK_LINES = 16
PLACE_BYTES, HEAD_BYTES = 8, 8
WRONG_PLACES = (0, 1, 2**31, 2**63 - 1, 2**63 + 5, 2**64 - 1)
WRONG_LENGTHS = (0, 1, 2**31 - 1, 2**31, 2**32 - 1)


@dataclass(frozen=True)
class Laid:
    """A whole file of increasing lines, and where its parts lie.

    Attributes
    ----------
    whole : bytes
        The file.
    size : tuple of int
        (height, width); three channels of half floats.
    """

    whole: bytes
    size: tuple[int, int]
    table: int = field(init=False)
    places: tuple[int, ...] = field(init=False)

    def __post_init__(self) -> None:
        count = -(-self.size[0] // BLOCK_LINES)
        # The first block lies right behind the table, which is how the table is found.
        table = next(
            at
            for at in range(len(self.whole))
            if struct.unpack_from("<Q", self.whole, at)[0] == at + PLACE_BYTES * count
        )
        object.__setattr__(self, "table", table)
        places = struct.unpack_from(f"<{count}Q", self.whole, table)
        object.__setattr__(self, "places", places)

    def length_of(self, index: int) -> int:
        """Return how many bytes a block holds."""
        length: int = struct.unpack_from("<I", self.whole, self.places[index] + 4)[0]
        return length

    def lies_bare(self, at: int) -> bool:
        """Tell whether a byte belongs to the samples of a block stored as it is: no check sum."""
        for index, place in enumerate(self.places):
            first, length = place + HEAD_BYTES, self.length_of(index)
            lines = min(BLOCK_LINES, self.size[0] - index * BLOCK_LINES)
            if first <= at < first + length:
                return length == 6 * lines * self.size[1]
        return False


@dataclass(frozen=True)
class Damage:
    """A damaged file.

    Attributes
    ----------
    name : str
        What was done.
    file : bytes
        The file.
    bare : bool
        A byte of a sample was changed in a block without a check sum, and nothing else.
    """

    name: str
    file: bytes
    bare: bool = False


def draw_damages(laid: Laid, random: np.random.Generator, rounds: int) -> Iterator[Damage]:
    """Damage a file in every way we know, so many times each."""
    for _ in range(rounds):
        yield flip(laid, int(random.integers(len(laid.whole))), random)
        yield flip(laid, int(random.integers(laid.places[0])), random)
        index = int(random.integers(len(laid.places)))
        block = laid.places[index]
        yield flip(laid, block + int(random.integers(HEAD_BYTES + 4)), random)
        yield flip(laid, block + HEAD_BYTES + laid.length_of(index) - 2, random)
        cut = int(random.integers(len(laid.whole)))
        yield Damage(f"cut at {cut}", laid.whole[:cut])
        cut = int(random.integers(laid.places[0]))
        yield Damage(f"cut in the header at {cut}", laid.whole[:cut])
        yield set_number(laid, laid.table + PLACE_BYTES * index, "<Q", pick(random, WRONG_PLACES))
        other = laid.places[(index + 1) % len(laid.places)]
        yield set_number(laid, laid.table + PLACE_BYTES * index, "<Q", other)
        yield set_number(laid, block, "<i", int(random.integers(-(2**31), 2**31)))
        yield set_number(laid, block + 4, "<I", pick(random, WRONG_LENGTHS))
        yield set_number(laid, block + 4, "<I", laid.length_of(index) - 1)
        yield set_number(
            laid, channels_at(laid), "<I", pick(random, (0, 1, 54, 56, 2**31, 2**32 - 1))
        )


def flip(laid: Laid, at: int, random: np.random.Generator) -> Damage:
    """Change one byte."""
    changed = bytearray(laid.whole)
    changed[at] ^= int(random.integers(1, 256))
    return Damage(f"byte {at} changed to {changed[at]}", bytes(changed), laid.lies_bare(at))


def set_number(laid: Laid, at: int, form: str, value: int) -> Damage:
    """Put another number somewhere."""
    changed = bytearray(laid.whole)
    struct.pack_into(form, changed, at, value)
    return Damage(f"{value} at {at}", bytes(changed))


def channels_at(laid: Laid) -> int:
    """Return where the length of the channel list stands."""
    mark = b"channels\0chlist\0"
    return laid.whole.index(mark) + len(mark)


def pick(random: np.random.Generator, values: tuple[int, ...]) -> int:
    """Return one of them."""
    return values[int(random.integers(len(values)))]
