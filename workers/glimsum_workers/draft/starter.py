"""The text of a starter job: what was found as values, what was guessed as questions."""

import json
import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from glimsum_workers.draft.guesses import Use, guess_length, guess_space, match_dark
from glimsum_workers.draft.pieces import Piece
from glimsum_workers.draft.records import CameraSetting, time_words

FIRST_FRAME = 1001
"""Number of the first shot frame (common practice, no source)."""

_ORDER: tuple[Use, ...] = (
    "reference", "beauty", "lamp", "matte", "empty_backing", "ambient", "dark",
)  # fmt: skip
_WHOLE_SHOT = ("reference", "beauty", "lamp", "matte")
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


@dataclass(frozen=True)
class DraftPass:
    """A piece with the name and use it is given in the draft."""

    name: str
    piece: Piece
    use: Use
    question: str = ""
    """What is uncertain about the use; empty where nothing is."""


@dataclass
class _Text:
    """Lines of the job, with each question above the line it asks about."""

    lines: list[str] = field(default_factory=list)
    questions: list[Question] = field(default_factory=list)

    def add(self, line: str) -> None:
        self.lines.append(line)

    def ask(self, path: str, question: str) -> None:
        """Write the question as a comment, as deep as the field it is about."""
        depth = 2 * max(0, min(path.count("."), 2))
        self.lines.append(f"{' ' * depth}# ? {question}")
        self.questions.append(Question(path, question))


def write_starter(
    shot: str, passes: Sequence[DraftPass], notes: Sequence[str] = ()
) -> tuple[str, list[Question]]:
    """Write a starter job as YAML.

    Parameters
    ----------
    shot : str
        Any text; what a shot's name can't hold becomes ``_``.
    passes : sequence of DraftPass
        At least one, names unlike each other.
    notes : sequence of str
        What else was found, written as comments at the top.

    Returns
    -------
    text : str
        The job. A line that starts with ``# ?`` asks about the next line. A value that can't be
        guessed stands there as a comment or as ``"?"``, so that the job is refused, with the
        question, until somebody answers.
    questions : list of Question
        The same questions in the order of the text.
    """
    ordered = sorted(passes, key=lambda each: _ORDER.index(each.use))
    unit = _unit_of(ordered)
    length = guess_length([each.piece for each in ordered if each.use in _WHOLE_SHOT])
    text = _Text()
    _write_head(text, shot, ordered, unit, length)
    text.add("passes:")
    for each in ordered:
        _write_pass(text, each, ordered, unit, length)
    _write_tail(text, shot, ordered)
    count = len(text.questions)
    head = [f"# A draft with {count} questions: lines that start with `# ?`, each about the next."]
    head += [f"# {note}" for note in notes]
    return "\n".join([*head, *text.lines]) + "\n", text.questions


def shot_name(text: str) -> str:
    """Return `text` as the name of a shot: lower case, digits, ``_`` and ``-``."""
    plain = re.sub(r"[^a-z0-9_-]+", "_", text.lower()).strip("_-")
    return plain[:64] or "shot"


def _unit_of(passes: Sequence[DraftPass]) -> DraftPass:
    wanted: tuple[Use, ...] = ("beauty", "lamp", "reference")
    found = [each for use in wanted for each in passes if each.use == use]
    return found[0] if found else passes[0]


def _write_head(
    text: _Text, shot: str, passes: Sequence[DraftPass], unit: DraftPass, length: int
) -> None:
    text.add("glimsum: 1")
    text.add(f"shot: {shot_name(shot)}")
    rates = sorted({each.piece.clip.rate for each in passes if each.piece.clip})
    told = f"clips say {', '.join(map(str, rates))}" if rates else "no file says"
    text.ask("rate", f"at how many frames a second is the shot shown? ({told})")
    text.add(f"rate: {rates[0] if len(rates) == 1 else 24}")
    text.ask("camera", "moving or locked?")
    text.add("camera: moving")
    text.ask("frames", f"{length} pictures, as the shortest whole pass: is that the shot?")
    text.add(f"frames: {{first: {FIRST_FRAME}, last: {FIRST_FRAME + length - 1}}}")
    reference = next((each for each in passes if each.use == "reference"), None)
    if reference is None:
        text.ask("reference", "no pass is called reference: which one shall all others lie on?")
    text.add(f"reference: {(reference or unit).name}")
    text.add(f"unit: {unit.name}")
    text.add("space: lin_ap1_scene")


def _write_pass(
    text: _Text, each: DraftPass, passes: Sequence[DraftPass], unit: DraftPass, length: int
) -> None:
    place, piece = f"passes.{each.name}", each.piece
    text.add(f"  {each.name}:")
    for remark in piece.remarks:
        text.ask(f"{place}.files", f"{remark}: is that right?")
    lasting = each.use in _WHOLE_SHOT and not piece.is_held
    if lasting and piece.pictures < length:
        lack = length - piece.pictures
        text.ask(f"{place}.files", f"{lack} pictures too few: shoot again, or a shorter shot?")
    text.add(f"    files: {_quote(piece.files)}    # {_describe(piece)}")
    _write_coding(text, each)
    if each.question:
        text.ask(f"{place}.use", each.question)
    if each.use in ("dark", "ambient", "empty_backing"):
        text.add(f"    use: {each.use}")
    _write_exposure(text, each, unit)
    _write_start(text, each, length)
    _write_black(text, each, passes)


def _write_coding(text: _Text, each: DraftPass) -> None:
    place, piece = f"passes.{each.name}", each.piece
    space, question = guess_space(piece)
    if question:
        text.ask(f"{place}.space", question)
    text.add(f"    space: {space or _quote('?')}")
    if piece.clip is not None:
        if piece.clip.range is None:
            text.ask(f"{place}.range", "the clip does not say its range: limited or full?")
        text.add(f"    range: {piece.clip.range or _quote('?')}")


def _write_exposure(text: _Text, each: DraftPass, unit: DraftPass) -> None:
    place, setting = f"passes.{each.name}.exposure", each.piece.setting
    if setting is not None and unit.piece.setting is not None:
        text.add(f"    exposure: {_exposure(setting)}")
    elif each is unit:
        text.add("    exposure: {stops: 0}    # this pass is the unit of the others")
    elif each.use not in ("dark", "matte", "empty_backing"):
        way = "seconds, f_number and iso" if unit.piece.setting else "stops"
        text.ask(place, f"which exposure? in {way}, as {unit.name} has it")
        text.add("    # exposure: {stops: 0}")


def _write_start(text: _Text, each: DraftPass, length: int) -> None:
    piece, place = each.piece, f"passes.{each.name}"
    if piece.first is not None:
        text.add(f"    first: {piece.first}")
    if piece.is_held or each.use not in (*_WHOLE_SHOT, "ambient"):
        return
    spare = piece.pictures - length
    if spare > 0:
        text.ask(
            f"{place}.start_offset",
            f"{piece.pictures} pictures for {length} frames: at which does the shot start, "
            f"0 to {spare}?",
        )
        text.add("    # start_offset: 0")


def _write_black(text: _Text, each: DraftPass, passes: Sequence[DraftPass]) -> None:
    if each.use == "dark":
        return
    darks = [(other.name, other.piece) for other in passes if other.use == "dark"]
    matched = match_dark(each.piece, darks)
    if matched is not None:
        text.add(f"    dark: {matched}")
    elif darks:
        names = ", ".join(name for name, _ in darks)
        text.ask(f"passes.{each.name}.dark", f"which dark has its time and ISO, if any: {names}?")
        text.add(f"    # dark: {darks[0][0]}")
    else:
        text.ask(f"passes.{each.name}.dark", "no capped dark is here: is its black level known?")
        text.add("    # dark: {level: [0, 0, 0]}")
    ambient = [other.name for other in passes if other.use == "ambient"]
    if ambient and each.use in _WHOLE_SHOT:
        if len(ambient) > 1:
            text.ask(f"passes.{each.name}.ambient", f"which one of {', '.join(ambient)}?")
        text.add(f"    ambient: {ambient[0]}")


def _write_tail(text: _Text, shot: str, passes: Sequence[DraftPass]) -> None:
    lamps = [each for each in passes if each.use in ("beauty", "lamp")]
    text.add("recipe:")
    if not lamps:
        text.ask("recipe", "no lamp pass was recognised: which passes are combined?")
    for each in lamps or [_unit_of(passes)]:
        text.add(f"  - {{pass: {each.name}, stops: 0}}")
    width = min(1920, max(64, passes[0].piece.width))
    text.add("masters: [{format: exr, compression: zip, pixel: half}]")
    text.add(f"viewing: {{movie: h264, width: {width}}}")
    text.add(f"output: masters/{shot_name(shot)}")


def _exposure(setting: CameraSetting) -> str:
    seconds = time_words(setting.seconds)
    return f"{{seconds: {seconds}, f_number: {setting.f_number:g}, iso: {setting.iso:g}}}"


def _describe(piece: Piece) -> str:
    count = "one still, held" if piece.is_held else f"{piece.pictures} pictures"
    numbers = f", {piece.first} to {piece.last}" if piece.numbers else ""
    return f"{piece.kind}, {piece.width} x {piece.height}, {count}{numbers}"


def _quote(text: str) -> str:
    """Return text as a YAML 1.2 scalar: plain where that is safe, else quoted as JSON does."""
    return text if _PLAIN.fullmatch(text) else json.dumps(text, ensure_ascii=False)
