"""A job drafted from a folder, with a contact sheet a pass, here."""

from dataclasses import dataclass
from pathlib import Path

from glimsum_services.workshop.folders import make_folder
from glimsum_workers.draft.draft_shot import draft_shot
from glimsum_workers.draft.starter import Question
from glimsum_workers.frames.sheets import Labelled, write_sheet
from glimsum_workers.frames.whole import nothing_to_ask, write_whole

SHEET_COLUMNS = 4


@dataclass(frozen=True)
class Drafted:
    """What a draft left behind."""

    questions: tuple[Question, ...]
    sheets: tuple[Path, ...]


def draft_here(folder: Path, job_file: Path, *, shot: str, before_path: str) -> Drafted:
    """Draft a job from a folder; write it and a contact sheet a pass beside it.

    Parameters
    ----------
    folder : Path
        Folders of passes, or one camera card.
    job_file : Path
        Where the job goes; the sheets go into ``NAME_sheets`` beside it.
    shot : str
        Name of the shot; empty: the folder's.
    before_path : str
        From the folder of the job file to `folder`, empty or with a slash at its end.

    Returns
    -------
    Drafted
        Questions, and the sheets written.

    Raises
    ------
    SourceError
        There is nothing to draft from.
    OutputError
        A file can't be written whole.
    """
    draft = draft_shot(folder, shot=shot, before_path=before_path)
    sheet_folder = job_file.absolute().parent / f"{job_file.stem}_sheets"
    make_folder(
        sheet_folder, "the contact sheets can't be written", "Name a job file elsewhere with --out."
    )
    sheets = []
    for each in draft.sheets:
        if not each.looks:
            continue
        pictures = [Labelled(look.label, look.picture) for look in each.looks]
        name = f"{each.name}.jpg"
        write_sheet(
            sheet_folder, name, pictures, columns=SHEET_COLUMNS, title=each.name, token="draft"
        )
        sheets.append(sheet_folder / name)
    text = draft.job_text.encode()
    write_whole(job_file.absolute().parent, job_file.name, text, "draft", nothing_to_ask)
    return Drafted(draft.questions, tuple(sheets))
