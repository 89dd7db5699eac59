"""Following runs until they end: a live table on a terminal, plain lines elsewhere, or JSON."""

import sys
import time
from collections.abc import Iterable
from typing import Protocol

from glimsum_services.cli.telling import say, say_json
from glimsum_services.run_view import RunView

LINE_EVERY_S = 2.0
"""Plain lines of one run come no closer than this, unless its state changes."""


class View(Protocol):
    """Something that shows runs."""

    def show(self, runs: list[RunView]) -> None:
        """Show where the runs stand now."""

    def close(self) -> None:
        """Stop showing."""


class JsonLines:
    """One JSON object a line for every change of a run."""

    def __init__(self) -> None:
        self._shown: dict[str, RunView] = {}

    def show(self, runs: list[RunView]) -> None:
        """Print the runs that changed."""
        for each in runs:
            if self._shown.get(each.run) != each:
                self._shown[each.run] = each
                say_json(each.as_json(), one_line=True)

    def close(self) -> None:
        """Do nothing."""


class PlainLines:
    """A line a run when it changed, for logs and pipes."""

    def __init__(self) -> None:
        self._shown: dict[str, tuple[float, RunView]] = {}

    def show(self, runs: list[RunView]) -> None:
        """Print the runs that changed, at a reading pace."""
        now = time.monotonic()
        for each in runs:
            when, before = self._shown.get(each.run, (0.0, None))
            if before is not None and before.said == each.said:
                same_words = before.words() == each.words()
                if same_words or now - when < LINE_EVERY_S:
                    continue
            self._shown[each.run] = (now, each)
            say(f"{each.run}  {each.said}  {each.words()}".rstrip())

    def close(self) -> None:
        """Do nothing."""


class LiveTable:
    """A table that stands still on the terminal while its numbers move."""

    def __init__(self) -> None:
        from rich.live import Live  # noqa: PLC0415  # only a terminal needs it

        self._live = Live(refresh_per_second=4, transient=False)
        self._live.start()

    def show(self, runs: list[RunView]) -> None:
        """Show the runs."""
        from rich.table import Table  # noqa: PLC0415  # only a terminal needs it
        from rich.text import Text  # noqa: PLC0415  # the same

        table = Table(box=None, pad_edge=False)
        for heading in ("shot", "state", "frames", "set aside", "a minute", "time left"):
            table.add_column(heading, justify="left" if heading in ("shot", "state") else "right")
        for each in runs:
            table.add_row(*(Text(cell) for cell in each.cells()))
        self._live.update(table)

    def close(self) -> None:
        """Leave the last table on the terminal."""
        self._live.stop()


def choose_view(*, as_json: bool) -> View:
    """Return JSON lines if asked for, a live table on a terminal, else plain lines."""
    if as_json:
        return JsonLines()
    return LiveTable() if sys.stdout.isatty() else PlainLines()


def follow(standings: Iterable[list[RunView]], view: View) -> list[RunView]:
    """Show standings until there are no more; return the last."""
    last: list[RunView] = []
    try:
        for runs in standings:
            last = runs
            view.show(runs)
    finally:
        view.close()
    return last
