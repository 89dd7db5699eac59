"""Questions of a draft that still stand in a job file: counted, never a reason to refuse it."""

from pathlib import Path

from glimsum_jobs.problems import Place, Problem, Rank
from glimsum_services.job_text.syntax import MAX_BYTES, line_of

MARK = "# ?"
"""Begins a line that asks something, in the jobs that `glimsum draft` writes."""


def open_questions(file: Path) -> list[Problem]:
    """Return one remark if lines of the file still ask something, else nothing.

    A file that can't be read has none: reading it as a job says what is wrong with it.
    """
    try:
        if not file.is_file():
            return []
        with file.open("rb") as data:
            text = data.read(MAX_BYTES).decode("utf-8-sig", errors="replace")
    except OSError:
        return []
    lines = text.splitlines()
    asking = [n for n, line in enumerate(lines, start=1) if line.lstrip().startswith(MARK)]
    if not asking:
        return []
    column = lines[asking[0] - 1].index(MARK) + 1
    count = "1 question" if len(asking) == 1 else f"{len(asking)} questions"
    return [
        Problem(
            rank=Rank.REMARK,
            what=f"{count} of the draft still in the job (lines that begin with {MARK}), "
            f"the first in line {asking[0]}",
            place=Place(file=str(file), line=asking[0], column=column),
            seen=line_of(lines, asking[0]),
            expected="a job without open questions",
            remedy="Answer in the line below it, then delete the line with the question.",
        )
    ]
