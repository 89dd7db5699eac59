"""One pass of a starter job: what its files tell, and what is asked about it."""

from collections.abc import Sequence
from dataclasses import dataclass

from glimsum_workers.draft.guesses import Use, guess_space, match_dark
from glimsum_workers.draft.job_lines import JobLines, quote
from glimsum_workers.draft.measuring import Backing, Flicker
from glimsum_workers.draft.pieces import Piece
from glimsum_workers.draft.records import CameraSetting, time_words

WHOLE_SHOT: tuple[Use, ...] = ("reference", "beauty", "lamp", "matte")
"""Uses of passes that have to last the whole shot."""
LAMPS: tuple[Use, ...] = ("beauty", "lamp")
FLICKERS_ABOVE = 0.01
"""Jump from picture to picture above which ``level: steady`` is proposed."""


@dataclass(frozen=True)
class DraftPass:
    """A piece with the name and use it is given in the draft."""

    name: str
    piece: Piece
    use: Use
    question: str = ""
    """What is uncertain about the use; empty where nothing is."""
    flicker: Flicker | None = None
    """Of a lamp pass; None where it can't be told."""
    backing: Backing | None = None
    """Of a silhouette; None where it can't be told."""


def write_pass(
    text: JobLines, each: DraftPass, passes: Sequence[DraftPass], unit: DraftPass, length: int
) -> None:
    """Write one pass.

    Parameters
    ----------
    text : JobLines
        The lines so far.
    each : DraftPass
        The pass.
    passes : sequence of DraftPass
        All of the shot: among them its darks and ambients.
    unit : DraftPass
        The pass the exposures are told against.
    length : int
        Frames of the shot.
    """
    place, piece = f"passes.{each.name}", each.piece
    text.add(f"  {each.name}:")
    for remark in piece.remarks:
        text.ask(f"{place}.files", f"{remark}: is that right?")
    lasting = each.use in WHOLE_SHOT and not piece.is_held
    if lasting and piece.pictures < length:
        lack = length - piece.pictures
        text.ask(f"{place}.files", f"{lack} pictures too few: shoot again, or a shorter shot?")
    text.add(f"    files: {quote(piece.files)}    # {_describe(piece)}")
    _write_coding(text, each)
    if each.question:
        text.ask(f"{place}.use", each.question)
    if each.use in ("dark", "ambient", "empty_backing"):
        text.add(f"    use: {each.use}")
    _write_exposure(text, each, unit)
    _write_start(text, each, length)
    _write_black(text, each, passes)
    _write_level(text, each)


def _write_coding(text: JobLines, each: DraftPass) -> None:
    place, piece = f"passes.{each.name}", each.piece
    space, question = guess_space(piece)
    if question:
        text.ask(f"{place}.space", question)
    text.add(f"    space: {space or quote('?')}")
    if piece.clip is not None:
        if piece.clip.range is None:
            text.ask(f"{place}.range", "the clip does not say its range: limited or full?")
        text.add(f"    range: {piece.clip.range or quote('?')}")


def _write_exposure(text: JobLines, each: DraftPass, unit: DraftPass) -> None:
    place, setting = f"passes.{each.name}.exposure", each.piece.setting
    if setting is not None and unit.piece.setting is not None:
        text.add(f"    exposure: {_exposure(setting)}")
    elif each is unit:
        text.add("    exposure: {stops: 0}    # this pass is the unit of the others")
    elif each.use != "dark":
        way = "seconds, f_number and iso" if unit.piece.setting else "stops"
        text.ask(place, f"which exposure? in {way}, as {unit.name} has it")
        text.add("    # exposure: {stops: 0}")


def _write_start(text: JobLines, each: DraftPass, length: int) -> None:
    piece, place = each.piece, f"passes.{each.name}"
    if piece.first is not None:
        text.add(f"    first: {piece.first}")
    if piece.is_held or each.use not in (*WHOLE_SHOT, "ambient"):
        return
    spare = piece.pictures - length
    if spare > 0:
        auto = ", or auto where the camera moves" if each.use in ("lamp", "matte") else ""
        text.ask(
            f"{place}.start_offset",
            f"{piece.pictures} pictures for {length} frames: at which does the shot start, "
            f"0 to {spare}{auto}?",
        )
        text.add("    # start_offset: 0")


def _write_black(text: JobLines, each: DraftPass, passes: Sequence[DraftPass]) -> None:
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
    if ambient and each.use in WHOLE_SHOT:
        if len(ambient) > 1:
            text.ask(f"passes.{each.name}.ambient", f"which one of {', '.join(ambient)}?")
        text.add(f"    ambient: {ambient[0]}")


def _write_level(text: JobLines, each: DraftPass) -> None:
    if each.use not in LAMPS or each.piece.is_held:
        return
    place, seen = f"passes.{each.name}.level", each.flicker
    if seen is not None and seen.jump > FLICKERS_ABOVE:
        text.ask(
            place,
            f"its level jumps by {100 * seen.jump:.1f} % from picture to picture "
            f"({seen.pictures} seen in a row): do its lamps flicker? else delete the line below",
        )
        text.add("    level: steady")
        return
    told = f" ({seen.pictures} pictures in a row jump by {100 * seen.jump:.1f} %)" if seen else ""
    text.ask(place, f"do its lamps flicker{told}? then level: steady takes it out")
    text.add("    # level: steady")


def _exposure(setting: CameraSetting) -> str:
    seconds = time_words(setting.seconds)
    return f"{{seconds: {seconds}, f_number: {setting.f_number:g}, iso: {setting.iso:g}}}"


def _describe(piece: Piece) -> str:
    count = "one still, held" if piece.is_held else f"{piece.pictures} pictures"
    numbers = f", {piece.first} to {piece.last}" if piece.numbers else ""
    return f"{piece.kind}, {piece.width} x {piece.height}, {count}{numbers}"
