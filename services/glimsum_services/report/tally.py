"""What the line files of a run add up to, read once and then only where they grew."""

from array import array
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, BinaryIO

from pydantic_core import from_json

from glimsum_jobs.errors import GlimsumError
from glimsum_jobs.ledger import Stage
from glimsum_jobs.orders import RunOrder
from glimsum_jobs.paths import parse_root_path
from glimsum_services.folders import open_file
from glimsum_services.report.grouping import Groups
from glimsum_services.version_disk import LINES, line_files

LONGEST_ITEM_S = 86_400.0
"""No item is believed to have taken longer."""
PIECE_BYTES = 64 * 1024 * 1024
"""Read at once; the line of a solved shot of ten thousand frames has some 10 MB."""

Line = Mapping[str, Any]


@dataclass
class Tally:
    """A run as its workers entered it.

    Attributes
    ----------
    order : RunOrder
        The version.
    busy : set of int
        Minutes since 1970 in which an item was in work that was finished later.
    whole : dict
        Newest result of the stages of one item, by stage, with its token.
    """

    order: RunOrder
    busy: set[int] = field(default_factory=set)
    whole: dict[str, tuple[int, dict[str, Any]]] = field(default_factory=dict)
    hosts: list[str] = field(default_factory=list)
    bytes_made: int = 0
    made_again: int = 0
    extremes: dict[str, tuple[float, int]] = field(default_factory=dict)
    torn: int = 0
    looked_at: bool = False
    lines: int = 0
    """Lines entered so far."""

    def __post_init__(self) -> None:
        """Make room for every frame of the shot: 20 bytes each."""
        count = self.order.job.frames.count
        self.seconds = array("d", [-1.0]) * count
        self.tokens = array("q", [-1]) * count
        self.host_of = array("l", [-1]) * count
        self._taken = bytearray(count)
        self.remarks = Groups(self.order.run)
        self._read_to: dict[str, int] = {}

    def read(self, roots: Mapping[str, Path]) -> int:
        """Read what was entered since the last time; return how many lines that were.

        Raises
        ------
        GlimsumError
            The folder can't be read; what was read before stays.
        """
        folder = parse_root_path(self.order.folder).child(LINES)
        count = 0
        for name in line_files(roots, self.order):
            with open_file(roots, folder, name) as file:
                file.seek(self._read_to.get(name, 0))
                while whole := _whole_lines(file):
                    self._read_to[name] = self._read_to.get(name, 0) + len(whole)
                    file.seek(self._read_to[name])
                    for line in whole.splitlines():
                        count += 1
                        self._enter(line)
        return count

    def _enter(self, text: bytes) -> None:
        try:
            line = from_json(text)
            stage, item, token = line["stage"], line["item"], int(line["token"])
            seconds = min(max(float(line["seconds"]), 0.0), LONGEST_ITEM_S)
            ended, result = float(line["ended"]), dict(line["result"])
            host = str(line.get("host") or line["worker"].partition("/")[0])
        except (ValueError, TypeError, KeyError, AttributeError):
            self.torn += bool(text)
            return
        self.lines += 1
        self.busy.update(range(int((ended - seconds) // 60), int(ended // 60) + 1))
        if stage == Stage.COMBINE:
            self._enter_frame(int(item), token, seconds, host, result)
        elif stage != Stage.MEASURE and self.whole.get(stage, (-1, {}))[0] < token:
            self.whole[stage] = (token, result)

    def _enter_frame(
        self, frame: int, token: int, seconds: float, host: str, result: Mapping[str, Any]
    ) -> None:
        place = frame - self.order.job.frames.first
        if not 0 <= place < len(self.seconds):
            return
        if self.tokens[place] >= 0:
            self.made_again += 1
        else:
            self.bytes_made += int(result.get("bytes", 0))
        if host not in self.hosts:
            self.hosts.append(host)
        if token > self.tokens[place]:
            self.tokens[place], self.seconds[place] = token, seconds
            self.host_of[place] = self.hosts.index(host)
            self._taken[place] = bool(result.get("reused"))
        for name, value in (result.get("figures") or {}).items():
            if float(value) > self.extremes.get(name, (0.0, 0))[0]:
                self.extremes[name] = (float(value), frame)
        for problem in result.get("remarks") or ():
            self.remarks.add_problem(problem, "remark")

    def result(self, stage: Stage) -> dict[str, Any] | None:
        """Return the newest result of a stage that works on the whole shot."""
        return self.whole[stage][1] if stage in self.whole else None

    @property
    def reused(self) -> int:
        """Return how many frames were taken over from earlier versions."""
        return sum(self._taken)

    def is_reused(self, frame: int) -> bool:
        """Return whether a frame that was entered was taken over."""
        return bool(self._taken[frame - self.order.job.frames.first])

    def made(self) -> list[tuple[float, int, str]]:
        """Return seconds, frame and host of every frame that was entered."""
        first = self.order.job.frames.first
        return [
            (seconds, first + place, self.hosts[self.host_of[place]])
            for place, seconds in enumerate(self.seconds)
            if seconds >= 0
        ]


def _whole_lines(file: BinaryIO) -> bytes:
    """Return the next whole lines; the last one may be half written just now."""
    text = file.read(PIECE_BYTES)
    return text[: text.rfind(b"\n") + 1]


def read_tally(tally: Tally, roots: Mapping[str, Path]) -> list[str]:
    """Bring a tally up to date; return what could not be read, in words."""
    tally.looked_at = True
    try:
        tally.read(roots)
    except (GlimsumError, OSError) as error:
        return [f"{tally.order.run}: times and machines may be missing: {error}"]
    if tally.torn:
        return [f"{tally.order.run}: {tally.torn} lines of its workers can't be read"]
    return []
