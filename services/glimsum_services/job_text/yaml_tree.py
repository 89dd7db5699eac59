"""YAML 1.2 with its core schema, read into plain values; nothing else YAML can do is let in."""

from collections.abc import Iterator
from typing import NoReturn

from ruamel.yaml import YAML
from ruamel.yaml.error import MarkedYAMLError, YAMLError
from ruamel.yaml.events import (
    AliasEvent,
    DocumentEndEvent,
    DocumentStartEvent,
    Event,
    MappingEndEvent,
    MappingStartEvent,
    ScalarEvent,
    SequenceEndEvent,
    SequenceStartEvent,
    StreamEndEvent,
    StreamStartEvent,
)

from glimsum_jobs.errors import JobError
from glimsum_services.job_text.syntax import (
    Path,
    Position,
    check_bounds,
    line_of,
    stated_twice,
    syntax_error,
)
from glimsum_services.job_text.yaml_scalars import MAX_DIGITS, plain_value

LONGEST_LINE = 128 * 1024
"""Characters. The library's time for some tokens grows with the square of their length: a tag of
half a million characters took 16 s."""


def read_yaml(text: str) -> tuple[object, dict[Path, Position]]:
    """Read one YAML document.

    Parameters
    ----------
    text : str
        The document. ``no``, ``off`` and ``on`` are text, ``010`` is ten, ``1:30`` is text.

    Returns
    -------
    tree : object
        Mappings (keys as they are written), lists, text, numbers, booleans and None.
    positions : dict of path to (line, column)
        Where each value stands, counted from 1; what an alias repeats stands at the alias.

    Raises
    ------
    JobError
        With line and column: wrong syntax, a field stated twice, a tag outside the core
        schema, an unknown alias, a line longer than `LONGEST_LINE`, or
        more values or levels than `check_bounds` allows.
    """
    lines = text.splitlines()
    for number, line in enumerate(lines, 1):
        if len(line) > LONGEST_LINE:
            raise syntax_error(
                "a line is too long",
                (number, LONGEST_LINE + 1),
                seen=f"{len(line)} characters",
                expected=f"{LONGEST_LINE} at most",
                remedy="Break the line, or write the job as JSON.",
            )
    try:
        return _Builder(YAML(typ="safe", pure=True).parse(text), lines).document()
    except MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        position = (mark.line + 1, mark.column + 1) if mark else None
        raise _refuse_syntax(str(error.problem or error), position, lines) from error
    except YAMLError as error:
        raise _refuse_character(text, error) from error


class _Builder:
    """Builds the tree from events; recursion is bounded by `MAX_DEPTH`."""

    def __init__(self, events: Iterator[Event], lines: list[str]) -> None:
        self._events = events
        self._lines = lines
        self._anchors: dict[str, tuple[object, int]] = {}
        self._count = 0
        self.positions: dict[Path, Position] = {}

    def document(self) -> tuple[object, dict[Path, Position]]:
        tree: object = None
        documents = 0
        for event in self._events:
            match event:
                case StreamStartEvent() | StreamEndEvent() | DocumentEndEvent():
                    continue
                case DocumentStartEvent():
                    documents += 1
                    self._check_document(event, documents)
                    tree = self._value(next(self._events), (), 0)
                case _:
                    self._misplaced(event)
        return tree, self.positions

    def _check_document(self, event: DocumentStartEvent, documents: int) -> None:
        if documents > 1:
            self._refuse(
                event,
                "the file holds a second document",
                seen="---",
                expected="one job or one sequence a file",
                remedy="Put each shot in a file of its own, or write a sequence.",
            )
        if event.version is not None and tuple(event.version) != (1, 2):
            seen = ".".join(str(part) for part in event.version)
            self._refuse(
                event,
                "the file asks for another version of YAML",
                seen=f"%YAML {seen}",
                expected="YAML 1.2",
                remedy="Leave the %YAML line out.",
            )

    def _value(self, event: Event, path: Path, depth: int) -> object:
        self.positions[path] = self._position(event)
        self._add(1, event, depth)
        if isinstance(event, AliasEvent):
            return self._repeat(event)
        before = self._count
        value: object
        match event:
            case ScalarEvent():
                value = self._scalar(event)
            case MappingStartEvent():
                self._check_tag(event)
                value = self._mapping(path, depth)
            case SequenceStartEvent():
                self._check_tag(event)
                value = self._list(path, depth)
            case _:
                self._misplaced(event)
        if event.anchor is not None:
            self._anchors[event.anchor] = (value, self._count - before + 1)
        return value

    def _mapping(self, path: Path, depth: int) -> dict[str, object]:
        found: dict[str, object] = {}
        while not isinstance(event := next(self._events), MappingEndEvent):
            key = self._key(event)
            if key in found:
                before = self.positions[(*path, key)]
                raise stated_twice(key, self._position(event), before)
            found[key] = self._value(next(self._events), (*path, key), depth + 1)
        return found

    def _key(self, event: Event) -> str:
        if not isinstance(event, ScalarEvent):
            self._refuse(
                event,
                "the name of a field is not a word",
                seen=self._line(event),
                expected="name: value",
                remedy="Write a plain word before the colon.",
            )
        return str(event.value)

    def _list(self, path: Path, depth: int) -> list[object]:
        found: list[object] = []
        while not isinstance(event := next(self._events), SequenceEndEvent):
            found.append(self._value(event, (*path, len(found)), depth + 1))
        return found

    def _repeat(self, event: AliasEvent) -> object:
        if event.anchor not in self._anchors:
            self._refuse(
                event,
                f"nothing is called &{event.anchor[:80]} here",
                seen=f"*{event.anchor[:80]}",
                expected=f"&{event.anchor[:80]} before it, complete",
                remedy="Name the value with & first; a value can't hold itself.",
            )
        value, count = self._anchors[event.anchor]
        self._add(count, event)
        return value

    def _add(self, count: int, event: Event, depth: int = 0) -> None:
        self._count += count
        check_bounds(depth, self._count, self._position(event))

    def _scalar(self, event: ScalarEvent) -> object:
        self._check_tag(event)
        if event.style is not None:
            return str(event.value)
        try:
            return plain_value(str(event.value))
        except ValueError:
            self._refuse(
                event,
                "this number can't be used",
                seen=str(event.value)[:MAX_DIGITS],
                expected=f"a finite number of {MAX_DIGITS} characters at most",
                remedy="Correct the value, or put it in quotes if it is text.",
            )

    def _check_tag(self, event: ScalarEvent | MappingStartEvent | SequenceStartEvent) -> None:
        if event.tag is not None:
            self._refuse(
                event,
                "a value carries a tag",
                seen=str(event.tag)[:80],
                expected="plain data without tags",
                remedy="Leave the tag out; put a value in quotes to make it text.",
            )

    def _misplaced(self, event: Event) -> NoReturn:
        self._refuse(
            event,
            "something stands where no value can stand",
            seen=self._line(event),
            expected="one value",
            remedy="Correct the line.",
        )

    def _position(self, event: Event) -> Position:
        return event.start_mark.line + 1, event.start_mark.column + 1

    def _line(self, event: Event) -> str:
        return line_of(self._lines, self._position(event)[0])

    def _refuse(
        self, event: Event, what: str, *, seen: str, expected: str, remedy: str
    ) -> NoReturn:
        raise syntax_error(what, self._position(event), seen=seen, expected=expected, remedy=remedy)


def _refuse_syntax(problem: str, position: Position | None, lines: list[str]) -> JobError:
    remedy = "Look at this line and the one before it: indent, colons, brackets, quotes."
    if "\\t" in problem:
        remedy = "Indent with spaces; YAML allows no tabs there."
    elif "mapping values are not allowed" in problem:
        remedy = "Put text that holds a colon in quotes, or start a new line."
    elif "that cannot start any token" in problem:
        remedy = "Put text that starts with this character in quotes."
    elif "end of stream" in problem:
        remedy = "Close the bracket or quote that is still open."
    return syntax_error(
        f"this is not YAML: {problem}",
        position,
        seen=line_of(lines, position[0] if position else 0),
        expected="YAML 1.2, or JSON",
        remedy=remedy,
    )


def _refuse_character(text: str, error: YAMLError) -> JobError:
    at = getattr(error, "position", None)
    position = None
    if isinstance(at, int) and at <= len(text):
        before = text[:at]
        position = before.count("\n") + 1, at - (before.rfind("\n") + 1) + 1
    character = getattr(error, "character", None)
    return syntax_error(
        "the file holds a character that no text file holds",
        position,
        seen=hex(character) if isinstance(character, int) else str(error)[:80],
        expected="printing characters, spaces and line ends",
        remedy="Save the file as plain text in UTF-8.",
    )
