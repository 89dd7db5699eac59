"""The text of a starter job is the job format, with the questions as comments."""

from fractions import Fraction

import pytest

from glimsum_jobs.errors import JobError
from glimsum_jobs.reading import read_shot
from glimsum_jobs.shot import ShotJob
from glimsum_services.job_text.yaml_tree import read_yaml
from glimsum_workers.draft.guesses import Use
from glimsum_workers.draft.pieces import Piece
from glimsum_workers.draft.records import CameraSetting, ClipTags
from glimsum_workers.draft.starter import DraftPass, shot_name, write_starter


def drafted(
    name: str, use: Use, setting: CameraSetting | None, pictures: int = 8, **known: object
) -> DraftPass:
    numbers = tuple(range(1, pictures + 1))
    plain = Piece(f"{name}/{name}.%04d.jpg", numbers, pictures, "jpeg", 960, 540, 8, setting)
    return DraftPass(name, Piece(**{**plain.__dict__, **known}), use)


def read(text: str) -> ShotJob:
    tree, positions = read_yaml(text)
    job, _ = read_shot(tree, positions)
    return job


BEAUTY = drafted("beauty", "beauty", CameraSetting(8, 16, 100))
LAMPS = drafted("practicals", "lamp", CameraSetting(16, 16, 100))
DARK = drafted("dark", "dark", CameraSetting(16, 22, 100))


def test_exposures_darks_and_ambient_that_the_files_tell_make_a_valid_job() -> None:
    leak = drafted("leak", "ambient", CameraSetting(1 / 60, 16, 100))

    text, questions = write_starter("Mole 040", [DARK, leak, LAMPS, BEAUTY])
    job = read(text)

    assert job.shot == "mole_040"
    assert (job.unit_pass, job.reference) == ("beauty", "beauty")
    assert (job.passes["practicals"].dark, job.passes["beauty"].dark) == ("dark", None)
    assert job.passes["leak"].exposure is not None
    assert job.passes["leak"].exposure.seconds == pytest.approx(1 / 60)
    assert [job.passes[name].ambient for name in ("beauty", "practicals")] == ["leak", "leak"]
    assert [step.pass_name for step in job.steps] == ["beauty", "practicals"]
    assert "passes.beauty.dark" in [question.field for question in questions]


def test_a_lamp_pass_without_exposure_is_refused_until_somebody_answers() -> None:
    unknown = drafted("practicals", "lamp", None)

    text, questions = write_starter("s", [drafted("beauty", "beauty", None), unknown])

    assert "passes.practicals.exposure" in [question.field for question in questions]
    with pytest.raises(JobError, match="how much light did pass practicals receive"):
        read(text)
    answered = text.replace("# exposure: {stops: 0}", "exposure: {stops: -1.5}")
    assert read(answered).passes["practicals"].exposure is not None


def test_a_coding_that_cannot_be_guessed_is_refused_until_somebody_answers() -> None:
    log = drafted("beauty", "beauty", None, kind="dpx", files="b.%04d.dpx", bits=10)

    text, _ = write_starter("s", [log])

    with pytest.raises(JobError, match=r"passes\.beauty\.space"):
        read(text)
    assert read(text.replace('"?"', "ocio:acescct_ap1_scene")).shot == "s"


def test_each_question_stands_right_above_the_line_it_asks_about() -> None:
    text, questions = write_starter("s", [BEAUTY, drafted("haze", "lamp", None, pictures=10), DARK])
    lines = text.splitlines()
    asked = [n for n, line in enumerate(lines) if line.lstrip().startswith("# ?")]

    assert [q.text for q in questions] == [lines[n].lstrip()[4:] for n in asked]
    for place, question in zip(asked, questions, strict=True):
        below = next(ln for ln in lines[place + 1 :] if not ln.lstrip().startswith("# ?"))
        assert below.strip("# ").startswith(question.field.rpartition(".")[2])


def test_more_and_fewer_pictures_than_frames_are_asked_about() -> None:
    passes = [BEAUTY, LAMPS, drafted("haze", "lamp", None, 10), drafted("moon", "lamp", None, 3)]

    _, questions = write_starter("s", passes)
    asked = {question.field: question.text for question in questions}

    assert asked["passes.haze.start_offset"] == (
        "10 pictures for 8 frames: at which does the shot start, 0 to 2?"
    )
    assert asked["passes.moon.files"] == "5 pictures too few: shoot again, or a shorter shot?"
    assert "passes.beauty.start_offset" not in asked


def test_a_clips_rate_and_range_are_taken_and_an_unsaid_range_is_refused() -> None:
    tags = ClipTags(Fraction(24000, 1001), None, None)
    clip = drafted("beauty", "beauty", None, files="b.mov", numbers=(), kind="clip", clip=tags)

    text, questions = write_starter("s", [clip])

    assert "rate: 24000/1001" in text
    assert {"passes.beauty.range", "passes.beauty.space"} <= {each.field for each in questions}
    with pytest.raises(JobError, match=r"passes\.beauty\.range"):
        read(text)
    answered = text.replace('range: "?"', "range: limited")
    answered = answered.replace('space: "?"', "ocio:vlog_vgamut_scene".join(["space: ", ""]))
    assert read(answered).rate_fraction == Fraction(24000, 1001)


@pytest.mark.parametrize("files", ["a b/x #1.%04d.jpg", "- 'x' \"y\".%04d.jpg", "é: {x}.%04d.jpg"])
def test_any_file_name_survives_the_yaml(files: str) -> None:
    text, _ = write_starter("s", [drafted("beauty", "beauty", None, files=files)])

    assert read(text).passes["beauty"].files == files


def test_a_shot_without_lamps_asks_what_to_combine() -> None:
    text, questions = write_starter("s", [drafted("reference", "reference", None)])

    assert "recipe" in [question.field for question in questions]
    assert [step.pass_name for step in read(text).steps] == ["reference"]


@pytest.mark.parametrize(("text", "name"), [("Quay 12.b", "quay_12_b"), ("...", "shot")])
def test_any_text_becomes_a_shots_name(text: str, name: str) -> None:
    assert shot_name(text) == name
