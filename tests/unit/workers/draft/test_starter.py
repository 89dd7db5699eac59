"""The text of a starter job is the job format, with the questions as comments."""

import re
from dataclasses import replace
from fractions import Fraction

import pytest

from glimsum_jobs.errors import JobError
from glimsum_jobs.mattes import BackingMatte
from glimsum_jobs.passes import Level
from glimsum_jobs.reading import read_shot
from glimsum_jobs.shot import ShotJob
from glimsum_services.job_text.yaml_tree import read_yaml
from glimsum_workers.draft.guesses import Use
from glimsum_workers.draft.measuring import Backing, Flicker
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
    passes = [BEAUTY, drafted("haze", "lamp", None, pictures=10), DARK]
    text, questions = write_starter("s", [*passes, drafted("matte", "matte", None)])
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
        "10 pictures for 8 frames: at which does the shot start, 0 to 2, or auto where the camera "
        "moves?"
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


MATTE = replace(
    drafted("matte", "matte", None), backing=Backing((0.86314, 0.85, 0.4), 8, "srgb_rec709_scene")
)


def uncommented(text: str) -> str:
    """Take the # from the mattes, as the draft asks for."""
    head, _, rest = text.partition("# mattes:\n")
    section, _, tail = rest.partition("recipe:\n")
    lines = [line.removeprefix("# ").removeprefix("#") for line in section.splitlines()]
    return head + "mattes:\n" + "\n".join(lines) + "\nrecipe:\n" + tail


def test_a_silhouette_stays_out_of_the_recipe_and_its_exposure_is_asked() -> None:
    text, questions = write_starter("s", [BEAUTY, MATTE])
    job = read(text)

    assert [step.pass_name for step in job.steps] == ["beauty"]
    assert dict(job.mattes) == {}
    assert {"passes.matte.exposure", "mattes"} <= {question.field for question in questions}


def test_a_matte_is_ready_to_be_uncommented_with_the_level_measured() -> None:
    text, _ = write_starter("s", [BEAUTY, MATTE])
    matte = read(uncommented(text)).mattes["set"]

    assert isinstance(matte, BackingMatte)
    assert isinstance(matte.empty, Level)
    assert (matte.pass_name, matte.empty.level) == ("matte", (0.8631, 0.85, 0.4))
    assert "the 99th percentile of 8 x 8 pixel means, median of 8 pictures" in text
    assert "linear as recorded, dark still in" in text


def test_a_pass_of_the_backing_alone_stands_for_its_level() -> None:
    backing = drafted("backing", "empty_backing", CameraSetting(8, 16, 100))

    silhouette = drafted("matte", "matte", CameraSetting(8, 16, 100))
    text, _ = write_starter("s", [BEAUTY, silhouette, backing])
    matte = read(uncommented(text)).mattes["set"]

    assert isinstance(matte, BackingMatte)
    assert matte.empty == "backing"


@pytest.mark.parametrize(
    ("backing", "words"),
    [
        (None, "can't be measured before the coding of matte is known"),
        (Backing((1.7, 1.6, 0.4), 8, "lin_rec709_scene"), r"it is \[1.7, 1.6, 0.4\], above 1"),
    ],
)
def test_a_level_that_cannot_be_stated_is_refused_until_somebody_answers(
    backing: Backing | None, words: str
) -> None:
    text, _ = write_starter("s", [BEAUTY, replace(MATTE, backing=backing)])

    assert re.search(words, text)
    with pytest.raises(JobError, match=r"mattes\.set"):
        read(uncommented(text))


@pytest.mark.parametrize(
    ("flicker", "level"),
    [(Flicker(0.011, 9), "steady"), (Flicker(0.009, 9), "follow"), (None, "follow")],
)
def test_flicker_is_asked_of_lamps_and_steadying_proposed_above_one_percent(
    flicker: Flicker | None, level: str
) -> None:
    text, questions = write_starter("s", [BEAUTY, replace(LAMPS, flicker=flicker), DARK])

    asked = [question.field for question in questions if question.field.endswith(".level")]
    assert asked == ["passes.beauty.level", "passes.practicals.level"]
    assert read(text).passes["practicals"].level == level
    assert read(text).passes["beauty"].level == "follow"


def test_the_top_says_that_an_answered_question_is_deleted() -> None:
    text, questions = write_starter("s", [BEAUTY])
    top = [line for line in text.splitlines() if line.startswith("# ")][:3]

    assert f"A draft with {len(questions)} questions" in top[0]
    assert "then delete the line with the question" in top[1]
    assert "`glimsum check` counts" in top[2]


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
