"""The text of a starter job: what was found as values, what was guessed as questions."""

import re
from collections.abc import Sequence

from glimsum_workers.draft.guesses import Use, guess_length
from glimsum_workers.draft.job_lines import JobLines, Question
from glimsum_workers.draft.matte_lines import write_mattes
from glimsum_workers.draft.pass_lines import LAMPS, WHOLE_SHOT, DraftPass, write_pass

__all__ = ["FIRST_FRAME", "DraftPass", "Question", "shot_name", "write_starter"]

FIRST_FRAME = 1001
"""Number of the first shot frame (common practice, no source)."""

_ORDER: tuple[Use, ...] = (
    "reference", "beauty", "lamp", "matte", "empty_backing", "ambient", "dark",
)  # fmt: skip


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
    length = guess_length([each.piece for each in ordered if each.use in WHOLE_SHOT])
    text = JobLines()
    _write_head(text, shot, ordered, unit, length)
    text.add("passes:")
    for each in ordered:
        write_pass(text, each, ordered, unit, length)
    write_mattes(text, ordered)
    _write_tail(text, shot, ordered)
    count = len(text.questions)
    head = [
        f"# A draft with {count} questions: lines that start with `# ?`, each about the next line.",
        "# Answer there (take its # away if it has one), then delete the line with the question.",
        "# `glimsum check` counts the questions that are left.",
    ]
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
    text: JobLines, shot: str, passes: Sequence[DraftPass], unit: DraftPass, length: int
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


def _write_tail(text: JobLines, shot: str, passes: Sequence[DraftPass]) -> None:
    lamps = [each for each in passes if each.use in LAMPS]
    text.add("recipe:")
    if not lamps:
        text.ask("recipe", "no lamp pass was recognised: which passes are combined?")
    for each in lamps or [_unit_of(passes)]:
        text.add(f"  - {{pass: {each.name}, stops: 0}}")
    width = min(1920, max(64, passes[0].piece.width))
    text.add("masters: [{format: exr, compression: zip, pixel: half}]")
    text.add(f"viewing: {{movie: h264, width: {width}}}")
    text.add(f"output: masters/{shot_name(shot)}")
