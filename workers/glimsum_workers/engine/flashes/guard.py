"""The flash guard: looks at every frame of a viewing copy and tells its worst seconds."""

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from glimsum_jobs.flash_figures import FlashArea, FlashKind
from glimsum_jobs.flash_limits import MOST_FLASHES
from glimsum_workers.engine.flashes.cells import CellCount
from glimsum_workers.engine.flashes.changes import (
    LuminanceChanges,
    RedChromaChanges,
    RednessChanges,
)
from glimsum_workers.engine.flashes.counting import FlashCount, Second
from glimsum_workers.engine.flashes.light import DisplayLight
from glimsum_workers.engine.flashes.screen import Screen
from glimsum_workers.engine.viewing import DisplayCodes

_Changes = LuminanceChanges | RednessChanges | RedChromaChanges


@dataclass(frozen=True)
class Found:
    """The worst second of one kind of flash in one kind of area.

    Attributes
    ----------
    kind : {"general", "red"}
        Which limit.
    area : {"picture", "field"}
        ``picture``: above a quarter of the whole. ``field``: above a quarter of some 10 degree
        field.
    second : Second
        How many flashes, where and when.
    """

    kind: FlashKind
    area: FlashArea
    second: Second

    @property
    def is_over(self) -> bool:
        """Return whether these are more flashes than the limit."""
        return self.second.flashes > MOST_FLASHES


class FlashGuard:
    """Measures flashing pictures against the published limits, one frame at a time.

    Parameters
    ----------
    height, width : int
        Of the viewing copy, pixels.
    rate : Fraction
        Frames a second.
    display : str
        Interop ID of the display the codes are for.

    Notes
    -----
    Of WCAG 2.2, success criterion 2.3.1: more than three general or red flashes within any one
    second, each above a quarter of any 10 degree field, estimated by a rectangle of 341 x 256
    pixels anywhere on a screen of 1024 x 768. Both definitions of a red flash are counted, and
    the one with more flashes is told. A quarter of the whole picture is the area of
    broadcasters (Ofcom, Guidance Note Section 2, Annex 1); the field is never milder.
    Two things are stricter than the letter: a flash counts in the second of its first change,
    though its second one may lie behind it; and flashes of different places that follow each
    other count together. Places that flash too often each by itself count too, on whatever
    frames they change. It is an aid and no certificate: it takes the screen to be of the size
    and distance of the estimate, knows no spatial pattern, and nothing of the room.

    Kept between frames: some 250 numbers a cell and 130 a field, never a frame.

    References
    ----------
    W3C, Web Content Accessibility Guidelines 2.2, 2023, "general flash and red flash thresholds".
    """

    def __init__(self, height: int, width: int, rate: Fraction, display: str) -> None:
        self.screen = Screen(height, width)
        self._light = DisplayLight(self.screen, display)
        shape = (self.screen.rows, self.screen.columns)
        kinds: tuple[tuple[FlashKind, _Changes], ...] = (
            ("general", LuminanceChanges(shape)),
            ("red", RednessChanges(shape)),
            ("red", RedChromaChanges(shape, self._light.red)),
        )
        self._kinds: list[tuple[FlashKind, _Changes, tuple[FlashCount | CellCount, ...]]] = [
            (kind, changes, (FlashCount(self.screen, rate), CellCount(self.screen, rate)))
            for kind, changes in kinds
        ]
        self.frames = 0
        """Frames looked at."""

    def look(self, codes: DisplayCodes) -> None:
        """Look at the next frame: uint8, (height, width, 3), full range, as it is shown."""
        light = self._light.read(codes)
        for _, changes, counts in self._kinds:
            change = changes.follow(light)
            for count in counts:
                count.add(self.frames, change)
        self.frames += 1

    def found(self) -> list[Found]:
        """Return the worst second of each kind and area that flashes at all."""
        worst: dict[tuple[FlashKind, FlashArea], Second] = {}
        for kind, area, second in self._seconds():
            known = worst.get((kind, area))
            if known is None or second.flashes > known.flashes:
                worst[kind, area] = second
        return [Found(kind, area, second) for (kind, area), second in worst.items()]

    def over(self) -> list[int]:
        """Return where the flashes of all seconds over the limit begin, frames from 0."""
        both = (count for _, _, counts in self._kinds for count in counts)
        return sorted(set().union(*(count.over for count in both)))

    def _seconds(self) -> Iterator[tuple[FlashKind, FlashArea, Second]]:
        for kind, _, counts in self._kinds:
            for count in counts:
                for area, second in count.worst.items():
                    yield kind, area, second
