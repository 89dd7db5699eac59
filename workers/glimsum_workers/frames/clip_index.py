"""When each frame of a clip is shown, and where decoding can begin: made without decoding."""

from bisect import bisect_right
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from av.container import InputContainer
from av.video.stream import VideoStream

from glimsum_jobs.errors import SourceError
from glimsum_jobs.problems import Place


@dataclass(frozen=True)
class ClipIndex:
    """Presentation times of a clip.

    Attributes
    ----------
    times : tuple of int
        One a frame that is shown, in the order of showing, in units of `tick`.
    starts : tuple of int
        Frame numbers at which decoding can begin.
    tick : Fraction
        Seconds.
    """

    times: tuple[int, ...]
    starts: tuple[int, ...]
    tick: Fraction

    def start_before(self, number: int) -> int:
        """Return the last frame at or before `number` where decoding can begin, or frame 0."""
        at = bisect_right(self.starts, number)
        return self.starts[at - 1] if at else 0

    def uneven_frame(self) -> int | None:
        """Return the first frame shown too early or late for a constant rate, or None.

        A time may be off by two ticks, because most rates are no whole number of ticks and the
        first and last times are rounded too; where a frame is only a few ticks long, not even
        that is allowed.
        """
        if len(self.times) < 3:
            return None
        step = Fraction(self.times[-1] - self.times[0], len(self.times) - 1)
        allowed = 2 if step >= 16 else 0
        off = (abs(time - self.times[0] - i * step) for i, time in enumerate(self.times))
        return next((i for i, far in enumerate(off) if far > allowed), None)

    def durations_ms(self) -> tuple[float, float]:
        """Return the shortest and longest time a frame is shown, in milliseconds."""
        steps = [after - before for before, after in pairwise(self.times)]
        return float(min(steps) * self.tick * 1000), float(max(steps) * self.tick * 1000)


def index_clip(container: InputContainer, stream: VideoStream, file: str) -> ClipIndex:
    """Read the times of all packets of `stream`; reads the whole file once, decodes nothing.

    Frames that an edit list cuts away are left out, so that frame 0 is the first one shown.

    Raises
    ------
    SourceError
        The clip is cut off, a frame has no time, or two have the same.
    """
    size = container.size
    short = [entry for entry in stream.index_entries if entry.pos + entry.size > size]
    if short:
        raise _cut_off(
            file,
            f"{size} bytes, {len(short)} of {len(stream.index_entries)} frames past the end",
            f"at least {max(entry.pos + entry.size for entry in short)} bytes",
        )
    shown: list[tuple[int, bool]] = []
    stored = 0
    for packet in container.demux(stream):
        if packet.size == 0:
            continue
        if packet.pts is None or packet.is_corrupt:
            raise _cut_off(file, f"packet {stored} {'damaged' if packet.pts else 'without a time'}")
        stored += 1
        if not packet.is_discard:
            shown.append((packet.pts, packet.is_keyframe))
    if not shown or stored < len(stream.index_entries):
        raise _cut_off(file, f"{stored} frames", f"{len(stream.index_entries) or 'some'} frames")
    shown.sort()
    times = tuple(time for time, _ in shown)
    if len(set(times)) != len(times):
        twice = next(time for time, after in pairwise(times) if time == after)
        raise _cut_off(file, f"two frames shown at tick {twice}", "one frame a time")
    starts = tuple(number for number, (_, start) in enumerate(shown) if start)
    return ClipIndex(times, starts, Fraction(stream.time_base or 1))


def _cut_off(
    file: str, seen: str, expected: str = "whole packets, each with a time"
) -> SourceError:
    return SourceError(
        "the clip is cut off or damaged",
        place=Place(file=file),
        seen=seen,
        expected=expected,
        remedy="Copy it again from the card.",
    )
