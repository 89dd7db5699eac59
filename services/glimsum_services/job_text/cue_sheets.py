"""Cue sheets as tables of comma separated values (RFC 4180), in and out."""

import csv
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from io import StringIO
from typing import Any

from glimsum_jobs.cues import MAX_CUES, Cue
from glimsum_services.job_text.syntax import Position, line_of, stated_twice, syntax_error

COLUMNS = ("cue", "frame", "stops", "up", "down", "source")
"""Of a cue; a cell left empty has the default."""
PLACE_COLUMNS = ("step", "pass")
"""Of a sheet for several steps: number of the step in the recipe, from 1, and what it lays on."""

_WHOLE = re.compile(r"[-+]?[0-9]{1,15}")
_NUMBER = re.compile(r"[-+]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][-+]?[0-9]{1,3})?")
_MOST_LINES = 64 * MAX_CUES


@dataclass(frozen=True)
class SheetRow:
    """One line of a sheet.

    Attributes
    ----------
    cue : dict
        Fields of a cue as they would stand in a job.
    step : str
        Step it is for; empty: of the step that names the sheet.
    label : str
        What that step lays on; empty where the sheet does not say.
    line : int
        Counted from 1.
    columns : dict of str to int
        Where each field stands in its line, counted from 1.
    """

    cue: dict[str, Any]
    step: str
    label: str
    line: int
    columns: dict[str, int]


def read_cue_sheet(text: str) -> list[SheetRow]:
    """Read a cue sheet.

    Parameters
    ----------
    text : str
        First line: names of columns, `COLUMNS` and `PLACE_COLUMNS` in any order; ``cue`` and
        ``frame`` must be there. Empty lines are passed over.

    Returns
    -------
    list of SheetRow
        Cells that hold no number are handed on as text, for the format to refuse.

    Raises
    ------
    JobError
        With the line: a column that is not known, stated twice or missing, a line with more
        cells than the first, or wrong quotes.
    """
    lines = text.splitlines()
    if len(lines) > _MOST_LINES:
        raise syntax_error(
            "the cue sheet is too long",
            (_MOST_LINES + 1, 1),
            seen=f"{len(lines)} lines",
            expected=f"{_MOST_LINES} at most",
            remedy="A step has a thousand cues at most: give each step a sheet of its own.",
        )
    heading: list[str] = []
    rows: list[SheetRow] = []
    for number, line in enumerate(lines, 1):
        if not line.strip(", \t"):
            continue
        cells = _cells(line, number)
        if not heading:
            heading = _heading(cells, number)
        else:
            rows.append(_row(cells, heading, lines, number))
    if not heading:
        raise syntax_error(
            "the cue sheet is empty",
            (1, 1),
            seen="no line",
            expected="cue,frame,stops,up,down and a line for each cue",
            remedy="Write the names of the columns on the first line.",
        )
    return rows


def write_cue_sheet(steps: Sequence[tuple[int, str, Sequence[Cue]]]) -> str:
    """Return the sheet of some steps, in a form that reads back as it was.

    Parameters
    ----------
    steps : sequence of (int, str, sequence of Cue)
        Number of the step in the recipe from 1, what it lays on, its cues.
    """
    out = StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow([*PLACE_COLUMNS, *COLUMNS])
    for number, label, cues in steps:
        for cue in cues:
            source = "" if cue.source is None else cue.source
            stops = repr(cue.stops)
            writer.writerow([number, label, cue.number, cue.frame, stops, cue.up, cue.down, source])
    return out.getvalue()


def _cells(line: str, number: int) -> list[tuple[str, int]]:
    """Return the cells of a line with their columns."""
    try:
        texts = next(csv.reader([line], strict=True))
    except csv.Error as error:
        raise syntax_error(
            f"this line is no line of comma separated values: {error}",
            (number, 1),
            seen=line_of([line], 1),
            expected="values with commas between them",
            remedy="Look at the quotes.",
        ) from error
    return list(zip(texts, _columns(line, len(texts)), strict=True))


def _columns(line: str, count: int) -> Iterator[int]:
    """Return where cells begin; of a line with quotes only the line is told."""
    if '"' in line:
        yield from [1] * count
        return
    at = 1
    for cell in line.split(","):
        yield at
        at += len(cell) + 1


def _heading(cells: list[tuple[str, int]], number: int) -> list[str]:
    names: list[str] = []
    for cell, column in cells:
        name = cell.strip().lower()
        if name not in (*COLUMNS, *PLACE_COLUMNS):
            raise syntax_error(
                f"a cue sheet has no column {name[:40] or 'without a name'}",
                (number, column),
                seen=cell[:80] or "an empty cell",
                expected=f"columns {', '.join(COLUMNS)}, and commas between them",
                remedy="Correct or leave out the column; save the table as comma separated.",
            )
        if name in names:
            raise stated_twice(name, (number, column), (number, cells[names.index(name)][1]))
        names.append(name)
    for needed in ("cue", "frame"):
        if needed not in names:
            raise syntax_error(
                f"the cue sheet has no column {needed}",
                (number, 1),
                seen=", ".join(names),
                expected="cue and frame at least",
                remedy=f"Add the column {needed}.",
            )
    return names


def _row(
    cells: list[tuple[str, int]], heading: list[str], lines: list[str], number: int
) -> SheetRow:
    beyond = [(cell, column) for cell, column in cells[len(heading) :] if cell.strip()]
    if beyond:
        position: Position = (number, beyond[0][1])
        raise syntax_error(
            "a line of the cue sheet has more cells than there are columns",
            position,
            seen=line_of(lines, number),
            expected=f"{len(heading)} cells: {', '.join(heading)}",
            remedy="Write numbers with a decimal point; a comma begins the next cell.",
        )
    told = {
        name: (cell.strip(), column)
        for name, (cell, column) in zip(heading, cells, strict=False)
        if cell.strip()
    }
    return SheetRow(
        cue={name: _value(told[name][0]) for name in COLUMNS if name in told},
        step=told.get("step", ("", 0))[0],
        label=told.get("pass", ("", 0))[0],
        line=number,
        columns={name: column for name, (_, column) in told.items()},
    )


def _value(cell: str) -> object:
    if _WHOLE.fullmatch(cell):
        return int(cell)
    return float(cell) if _NUMBER.fullmatch(cell) else cell
