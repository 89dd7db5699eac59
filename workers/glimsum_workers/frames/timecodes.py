"""Timecode as SMPTE ST 12-1 counts it, and as OpenEXR stores it."""

from dataclasses import dataclass
from fractions import Fraction
from typing import Self

from glimsum_jobs.errors import LightError

_FASTEST = 30
"""ST 12-1 counts at most 30 frames a second in one label."""


@dataclass(frozen=True)
class Timecode:
    """A label of one frame.

    Attributes
    ----------
    hours, minutes, seconds, frames : int
    drop : bool
        True where labels are dropped to keep up with the clock (30000/1001 only).
    """

    hours: int
    minutes: int
    seconds: int
    frames: int
    drop: bool = False

    def __str__(self) -> str:
        """Read as ``01:00:00:00``, with ``;`` before the frames of a drop count."""
        mark = ";" if self.drop else ":"
        return f"{self.hours:02}:{self.minutes:02}:{self.seconds:02}{mark}{self.frames:02}"

    @classmethod
    def of_frame(cls, count: int, rate: Fraction, *, drop: bool = False) -> Self:
        """Return the label of frame `count`, counted from 0 at midnight.

        Parameters
        ----------
        count : int
            From 0; begins again after 24 hours.
        rate : Fraction
            Frames a second, at most 30.
        drop : bool, optional
            Drop two labels each minute but the tenth; 30000/1001 only.

        Returns
        -------
        Timecode
            The label.

        Raises
        ------
        LightError
            The count is negative, the rate above 30, or it is not one that drops labels.
        """
        base = round(rate)
        if count < 0 or not 1 <= base <= _FASTEST or (drop and rate != Fraction(30000, 1001)):
            raise LightError(
                "no timecode counts this",
                seen=f"frame {count} at {rate} frames a second{', drop' if drop else ''}",
                expected="a frame from 0 at 1 to 30 a second; drop at 30000/1001",
            )
        if drop:
            tens, rest = divmod(count, 17982)
            count += 18 * tens + 2 * max(0, (rest - 2) // 1798)
        seconds, frames = divmod(count, base)
        minutes, seconds = divmod(seconds, 60)
        return cls(minutes // 60 % 24, minutes % 60, seconds, frames, drop)

    def later(self, count: int, rate: Fraction) -> Self:
        """Return the label `count` frames later; raises as `of_frame`."""
        base = round(rate)
        label = ((self.hours * 60 + self.minutes) * 60 + self.seconds) * base + self.frames
        if self.drop:
            minutes = self.hours * 60 + self.minutes
            label -= 2 * (minutes - minutes // 10)
        return self.of_frame(label + count, rate, drop=self.drop)

    def packed(self) -> int:
        """Return the 32 bits of OpenEXR's timeCode: two decimal digits a byte, drop in bit 6."""
        fields = (self.frames, self.seconds, self.minutes, self.hours)
        bits = sum((n // 10 << 4 | n % 10) << 8 * place for place, n in enumerate(fields))
        return bits | (1 << 6 if self.drop else 0)
