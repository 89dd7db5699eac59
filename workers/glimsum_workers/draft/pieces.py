"""Cutting what lies on a card into pieces: runs of files that belong to one pass."""

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from statistics import median
from typing import Literal

from glimsum_workers.draft.numbering import escape, gaps_in, number_in, pattern_over, sequence_of
from glimsum_workers.draft.records import CameraSetting, ClipTags, Record

LONG_PAUSE_TIMES = 5
"""A pause this many times the usual distance of two shots parts two pieces."""
LONG_PAUSE = timedelta(seconds=30)
"""No shorter pause parts two pieces: some rigs settle slowly (common practice, no source)."""

Cut = Literal["exposure", "pause", "numbers", "count"]

_REASONS: dict[Cut, str] = {
    "exposure": "the exposure changes before it",
    "pause": "a long pause lies before it",
    "numbers": "the camera's numbers began again before it",
    "count": "its run of files is a whole multiple of the other passes' length",
}


@dataclass(frozen=True)
class Piece:
    """Files that look like one pass.

    Attributes
    ----------
    files : str
        A pattern with one number, a clip, or one still, below the drafted folder.
    numbers : tuple of int
        File numbers present, rising; empty for a clip or a still.
    pictures : int
        How many pictures it holds.
    kind, width, height, bits
        As of its first file; see `Record`.
    setting : CameraSetting or None
        Camera setting that all of its files share.
    captured : pair of datetime, or None
        Capture time of its first and last file.
    clip : ClipTags or None
    remarks : tuple of str
        What a person should look at: why it was cut here, gaps, unlike files.
    name : str
        Of its folder or files; ``""`` where they give none (see `naming.name_pieces`).
    """

    files: str
    numbers: tuple[int, ...]
    pictures: int
    kind: str
    width: int
    height: int
    bits: int
    setting: CameraSetting | None = None
    captured: tuple[datetime, datetime] | None = None
    clip: ClipTags | None = None
    remarks: tuple[str, ...] = ()
    name: str = ""

    @property
    def first(self) -> int | None:
        """Lowest file number, None for a clip or a still."""
        return self.numbers[0] if self.numbers else None

    @property
    def last(self) -> int | None:
        """Highest file number, None for a clip or a still."""
        return self.numbers[-1] if self.numbers else None

    @property
    def is_held(self) -> bool:
        """Whether it is one still, held over the shot."""
        return not self.numbers and self.clip is None


def group_folders(records: Sequence[Record]) -> list[Piece]:
    """Make one piece of each sequence and clip: for folders that hold one pass each.

    Parameters
    ----------
    records : sequence of Record
        In any order.

    Returns
    -------
    list of Piece
        By path. Where the camera setting changes inside a piece a remark says so.
    """
    return [_piece_of(run) for run in _sequences(records)]


def split_card(records: Sequence[Record]) -> list[Piece]:
    """Cut mixed files into pieces, one a pass, in the order they were shot.

    Parameters
    ----------
    records : sequence of Record
        All files of a card, in any order.

    Returns
    -------
    list of Piece
        Cut where the camera setting changes, where the pause is more than five times the usual
        distance of two shots (and above 30 s), where the numbers begin again, and where a run is
        a whole multiple of the length that the other pieces share. Each piece but the first of
        its sequence has a remark with the reason.

    Notes
    -----
    Two passes of the same exposure, shot without a pause, and with no other pass to compare
    their length with, come out as one piece. A pass that was halted for long comes out as two.
    """
    runs: list[tuple[list[Record], Cut | None]] = []
    for sequence in _sequences(records):
        runs += _cut_sequence(sequence)
    pieces = [
        _piece_of(part, because)
        for run, reason in runs
        for part, because in _cut_by_count(run, reason, _usual_length(runs))
    ]
    return sorted(pieces, key=_shooting_order)


def _sequences(records: Sequence[Record]) -> list[list[Record]]:
    """Group by pattern, kind and size; inside a group by capture time, else by number."""
    groups: dict[tuple[object, ...], list[Record]] = defaultdict(list)
    for record in records:
        key = (None if record.clip else sequence_of(record.path)) or (record.path, "")
        groups[*key, record.kind, record.width, record.height].append(record)
    return [_in_order(group) for _, group in sorted(groups.items(), key=str)]


def _in_order(group: list[Record]) -> list[Record]:
    timed = all(each.captured for each in group)
    return sorted(group, key=lambda each: (_clock(each.captured) if timed else "", _number(each)))


def _clock(captured: datetime | None) -> str:
    return captured.isoformat() if captured else "never"


def _number(record: Record) -> int:
    return 0 if record.clip else number_in(record.path)


def _cut_sequence(sequence: list[Record]) -> list[tuple[list[Record], Cut | None]]:
    usual = _usual_distance(sequence)
    runs: list[tuple[list[Record], Cut | None]] = [([sequence[0]], None)]
    for earlier, later in pairwise(sequence):
        reason = _reason_between(earlier, later, usual)
        if reason is None:
            runs[-1][0].append(later)
        else:
            runs.append(([later], reason))
    return runs


def _reason_between(earlier: Record, later: Record, usual: timedelta | None) -> Cut | None:
    if earlier.setting != later.setting:
        return "exposure"
    if _number(later) <= _number(earlier):
        return "numbers"
    if usual is not None and earlier.captured and later.captured:
        pause = later.captured - earlier.captured
        if pause > max(LONG_PAUSE, LONG_PAUSE_TIMES * usual):
            return "pause"
    return None


def _usual_distance(sequence: list[Record]) -> timedelta | None:
    times = [each.captured for each in sequence if each.captured]
    if len(times) < len(sequence) or len(times) < 2:
        return None
    return timedelta(seconds=median((b - a).total_seconds() for a, b in pairwise(times)))


def _usual_length(runs: list[tuple[list[Record], Cut | None]]) -> int | None:
    """Return the length that at least two runs share, the most frequent; None without one."""
    lengths = Counter(len(run) for run, _ in runs if len(run) > 1)
    length, times = max(lengths.items(), key=lambda item: (item[1], -item[0]), default=(0, 0))
    return length if times > 1 else None


def _cut_by_count(
    run: list[Record], reason: Cut | None, usual: int | None
) -> list[tuple[list[Record], Cut | None]]:
    if usual is None or len(run) <= usual or len(run) % usual:
        return [(run, reason)]
    starts = range(0, len(run), usual)
    return [(run[at : at + usual], "count" if at else reason) for at in starts]


def _piece_of(run: list[Record], reason: Cut | None = None) -> Piece:
    head = run[0]
    numbered = head.clip is None and len(run) > 1
    numbers = tuple(sorted(_number(each) for each in run)) if numbered else ()
    remarks = [_REASONS[reason]] if reason else []
    remarks += _unlike(run) + gaps_in(numbers) if numbered else []
    alike = len({each.setting for each in run}) == 1
    times = [each.captured for each in run if each.captured]
    return Piece(
        files=pattern_over([each.path for each in run]) if numbered else escape(head.path),
        numbers=numbers,
        pictures=len(run) if numbered else head.pictures,
        kind=head.kind,
        width=head.width,
        height=head.height,
        bits=head.bits,
        setting=head.setting if alike else None,
        captured=(min(times), max(times)) if len(times) == len(run) else None,
        clip=head.clip,
        remarks=tuple(remarks),
    )


def _unlike(run: list[Record]) -> list[str]:
    changes = [later for a, later in pairwise(run) if a.setting != later.setting]
    if not changes:
        return []
    first, odd = run[0], changes[0]
    return [f"exposure changes at {odd.path}: {first.setting} before, {odd.setting} from there"]


def _shooting_order(piece: Piece) -> tuple[str, str, int]:
    begun = _clock(piece.captured[0] if piece.captured else None)
    return begun, piece.files, piece.first or 0
