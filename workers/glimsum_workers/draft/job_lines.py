"""Lines of a starter job, each question above the line it asks about."""

import json
import re
from dataclasses import dataclass, field

_PLAIN = re.compile(r"[A-Za-z0-9_][A-Za-z0-9_./%-]*")


@dataclass(frozen=True)
class Question:
    """Something a person has to look at before the job is started.

    Attributes
    ----------
    field : str
        Path inside the job, for example ``passes.haze.exposure``.
    text : str
        The question, one line.
    """

    field: str
    text: str


@dataclass
class JobLines:
    """Lines of the job, and the questions among them."""

    lines: list[str] = field(default_factory=list)
    questions: list[Question] = field(default_factory=list)

    def add(self, line: str) -> None:
        """Add a line of the job, or a comment."""
        self.lines.append(line)

    def ask(self, path: str, question: str) -> None:
        """Write the question as a comment, as deep as the field it is about."""
        depth = 2 * max(0, min(path.count("."), 2))
        self.lines.append(f"{' ' * depth}# ? {question}")
        self.questions.append(Question(path, question))


def quote(text: str) -> str:
    """Return text as a YAML 1.2 scalar: plain where that is safe, else quoted as JSON does."""
    return text if _PLAIN.fullmatch(text) else json.dumps(text, ensure_ascii=False)
