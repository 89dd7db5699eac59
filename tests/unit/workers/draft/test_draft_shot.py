"""A folder becomes a draft; its questions answered, it is a job."""

import re
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from OpenImageIO import ImageOutput, ImageSpec
from PIL import Image as Pillow
from scipy.ndimage import maximum_filter

from glimsum_jobs.errors import SourceError
from glimsum_jobs.reading import read_shot
from glimsum_jobs.shot import ShotJob
from glimsum_services.job_text.yaml_tree import read_yaml
from glimsum_workers.draft.draft_shot import Draft, draft_shot
from support.harbour import shipped_harbour

BEGUN = datetime(2026, 3, 4, 21, 0, 0)  # noqa: DTZ001  -- a camera's clock has no zone


def answer(text: str, answers: dict[str, dict[str, str]]) -> str:
    """Answer questions of passes the way a person does: edit the line below the question."""
    for name, fields in answers.items():
        head, _, rest = text.partition(f"\n  {name}:\n")
        for field, value in fields.items():
            line = re.compile(rf"^    (# )?{field}: .*$", re.MULTILINE)
            rest, changed = line.subn(f"    {field}: {value}", rest, count=1)
            assert changed == 1, (name, field)
        text = f"{head}\n  {name}:\n{rest}"
    return text


def read(text: str) -> ShotJob:
    tree, positions = read_yaml(text)
    return read_shot(tree, positions)[0]


@pytest.fixture(scope="module")
def harbour_draft() -> Draft:
    return draft_shot(shipped_harbour().passes, shot="harbour_010", before_path="passes/")


def test_the_harbours_questions_answered_make_a_job_of_the_truth(harbour_draft: Draft) -> None:
    shot = shipped_harbour()
    answers: dict[str, dict[str, str]] = {}
    for name in ("reference", "flash", "haze", "practicals", "matte"):
        lead = str(shot.pass_facts(name)["lead_in_frames"])
        answers[name] = {"start_offset": lead}
    for name in ("reference", "flash", "haze", "practicals", "black"):
        stops = f"{{stops: {shot.exposure_stops(name)}}}"
        answers.setdefault(name, {})["exposure"] = stops
    for name in ("reference", "beauty", "flash", "haze", "practicals", "matte", "black"):
        level = ", ".join(map(str, shot.pass_facts(name)["black_offset_linear_rgb"]))
        answers.setdefault(name, {})["dark"] = f"{{level: [{level}]}}"
    answers["beauty"]["space"] = "ocio:acescct_ap1_scene"

    job = read(answer(harbour_draft.job_text, answers))

    assert (job.frames.first, job.frames.last) == (1001, 1008)
    assert [step.pass_name for step in job.steps] == ["beauty", "flash", "haze", "practicals"]
    for name in ("beauty", "flash", "haze", "practicals", "matte", "black"):
        each = job.passes[name]
        number = each.number(1001, shot_first=1001, first=each.first or 0)
        file = Path("passes", name, each.files.rpartition("/")[2] % number)
        assert Path("passes", shot.file(name, 0).relative_to(shot.passes)) == file
    assert (
        job.passes["black"].use, job.reference, job.passes["reference"].range
    ) == ("ambient", "reference", "limited")  # fmt: skip


def test_the_harbours_draft_asks_what_no_file_tells(harbour_draft: Draft) -> None:
    asked = {question.field for question in harbour_draft.questions}

    assert {"rate", "camera", "frames", "passes.beauty.space", "passes.black.use"} <= asked
    assert {f"passes.{n}.exposure" for n in ("flash", "haze", "practicals", "black")} <= asked
    assert {f"passes.{n}.start_offset" for n in ("flash", "haze", "practicals", "matte")} <= asked
    assert not {"passes.beauty.exposure", "passes.beauty.start_offset"} & asked


def test_every_pass_has_pictures_to_look_at(harbour_draft: Draft) -> None:
    looks = {sheet.name: sheet.looks for sheet in harbour_draft.sheets}

    assert [str(number) for number in range(86400, 86410)] == [x.label for x in looks["flash"]]
    assert len(looks["reference"]) == 10
    assert {(135, 240, 3)} == {x.picture.shape for found in looks.values() for x in found}
    assert looks["flash"][7].picture.mean() > 3 * looks["flash"][0].picture.mean()


def test_the_level_of_the_harbours_backing_is_measured(harbour_draft: Draft) -> None:
    """Against pictures opened by Pillow and the curve of IEC 61966-2-1, beside the set's coverage.

    Only boxes that are backing in every picture's neighbourhood count: coverage 0 within 12
    pixels, more than the pass drifts.
    """
    shot = shipped_harbour()
    clear = maximum_filter(shot.set_coverage(), 25) == 0
    codes = np.asarray(Pillow.open(shot.file("matte", 5)), np.float64)[clear] / 255
    light = np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4)
    truth = np.percentile(light, 99, axis=0)

    told = re.search(r"empty: \{level: \[(.*)\]\}", harbour_draft.job_text)

    assert told is not None
    assert [float(value) for value in told[1].split(",")] == pytest.approx(truth, rel=0.02)


def test_the_harbours_flicker_is_seen_where_it_is_and_only_there(harbour_draft: Draft) -> None:
    """True gains of the frames stand in the harbour's truth."""
    facts = shipped_harbour().pass_facts("practicals")
    gains = np.array([each["flicker_gain"] for each in facts["frames"]])[1:10]
    truth = 100 * np.median(np.abs(gains[1:-1] / ((gains[:-2] + gains[2:]) / 2) - 1))

    told = re.findall(r"level jumps by (.*) % from picture to picture", harbour_draft.job_text)

    # The leak and the dark the pictures still hold take something off.
    assert [float(each) for each in told] == [pytest.approx(truth, rel=0.3)]
    steady = re.findall(r"^    level: steady$", harbour_draft.job_text, re.MULTILINE)
    assert len(steady) == 1


def test_a_sheet_that_leaves_pictures_out_says_so(tmp_path: Path) -> None:
    for number in range(1, 14):
        write_still(tmp_path / "beauty" / f"b.{number:04d}.jpg", 0.5, 8, BEGUN)

    looks = draft_shot(tmp_path).sheets[0].looks

    assert [look.label for look in looks][:2] == ["1 (12 of 13 pictures)", "2"]


def write_still(file: Path, level: float, seconds: float, captured: datetime) -> None:
    """Write a JPEG with a bright patch and the EXIF of a camera."""
    file.parent.mkdir(exist_ok=True, parents=True)
    picture = np.full((90, 160, 3), level / 4, np.float32)
    picture[30:60, 40:120] = level
    spec = ImageSpec(160, 90, 3, "uint8")
    spec.attribute("ExposureTime", seconds)
    spec.attribute("FNumber", 16.0)
    spec.attribute("Exif:PhotographicSensitivity", 100)
    spec.attribute("Exif:DateTimeOriginal", captured.strftime("%Y:%m:%d %H:%M:%S"))
    output = ImageOutput.create(str(file))
    assert output is not None
    assert output.open(str(file), spec)
    assert output.write_image(picture)
    assert output.close()


def test_one_card_is_cut_into_passes_with_the_cameras_exposures(tmp_path: Path) -> None:
    card = tmp_path / "evening 3" / "100CARD"
    runs = [(8.0, 0.6, 0), (1 / 8, 0.7, 120), (16.0, 0.02, 240)]
    for run, (seconds, level, begun_s) in enumerate(runs):
        for k in range(5):
            captured = BEGUN + timedelta(seconds=begun_s + 20 * k)
            write_still(card / f"DSC_{1 + 5 * run + k:04d}.JPG", level, seconds, captured)
    (card / "INDEX.TXT").write_text("not a picture")

    draft = draft_shot(tmp_path / "evening 3")
    job = read(draft.job_text)

    assert "# left out, files *.txt: 1 of them" in draft.job_text
    assert [(name, each.first) for name, each in job.passes.items()] == [
        ("pass_1", 1),
        ("pass_2", 6),
        ("pass_3", 11),
    ]
    assert {"100CARD/DSC_%04d.JPG"} == {each.files for each in job.passes.values()}
    exposures = [each.exposure for each in job.passes.values()]
    assert [each.seconds for each in exposures if each] == [8.0, 0.125, 16.0]
    assert (job.passes["pass_3"].use, job.frames.count) == ("ambient", 5)


def test_an_unreadable_picture_is_named_and_the_rest_is_drafted(tmp_path: Path) -> None:
    for number in (1, 2):
        write_still(tmp_path / "beauty" / f"b.{number:04d}.jpg", 0.5, 8, BEGUN)
    (tmp_path / "beauty" / "b.0003.jpg").write_bytes(b"")

    text = draft_shot(tmp_path).job_text

    assert "# left out 'beauty/b.0003.jpg'" in text
    assert read(text).frames.count == 2


def test_a_folder_without_pictures_is_refused_with_what_was_seen(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("lamp 3 flickers")

    with pytest.raises(
        SourceError, match=r"nothing to draft a job from .*files \*\.txt: 1 .*expected: pictures"
    ):
        draft_shot(tmp_path)
