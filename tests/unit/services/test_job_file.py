"""Job files: YAML 1.2 and nothing older, every problem with its place."""

from pathlib import Path

import pytest

from glimsum_jobs.errors import JobError
from glimsum_services.job_file import parse_text, read_job_file, read_text
from glimsum_services.job_text.syntax import MAX_BYTES, MAX_VALUES
from support.api_work import SHOT

YAML = """\
glimsum: 1
shot: mole_040
rate: 24
camera: locked
frames: {first: 1001, last: 1012}
passes:
  beauty:
    files: beauty/beauty.%04d.png
    space: srgb_rec709_scene
    exposure: {stops: 0}
output: out
"""


def yaml(text: str) -> object:
    return parse_text(text.encode(), "yaml")[0]


def test_plain_words_mean_what_the_core_schema_says() -> None:
    # YAML 1.2.2, example 10.9 "Core Tag Resolution" (quoted from memory), without .inf and .nan.
    text = """\
A null: null
Also a null: # Empty
Not a null: ""
Booleans: [ true, True, false, FALSE ]
Integers: [ 0, 0o7, 0x3A, -19 ]
Floats: [ 0., -0.0, .5, +12e03, -2E+05 ]
"""
    assert yaml(text) == {
        "A null": None,
        "Also a null": None,
        "Not a null": "",
        "Booleans": [True, True, False, False],
        "Integers": [0, 7, 58, -19],
        "Floats": [0.0, -0.0, 0.5, 12000.0, -200000.0],
    }


@pytest.mark.parametrize(
    "word", ["no", "off", "on", "yes", "y", "1:30", "12:30:45", "1_000", "0b1"]
)
def test_words_that_older_yaml_turned_into_something_else_stay_text(word: str) -> None:
    # YAML 1.2.2, 1.3 and 10.3.2: these patterns of YAML 1.1 are gone.
    assert yaml(f"a: {word}") == {"a": word}


def test_a_leading_zero_is_no_octal() -> None:
    assert yaml("a: 0010") == {"a": 10}


@pytest.mark.parametrize("word", [".inf", "-.INF", ".nan", "1e999", "9" * 41])
def test_numbers_nobody_can_use_are_refused_with_their_place(word: str) -> None:
    with pytest.raises(JobError, match=r"this number can't be used \(line 2, column 6\); seen: "):
        yaml(f"a:\n  b: {word}\n")


def test_names_of_fields_stay_as_they_are_written() -> None:
    assert yaml("{1001: a, no: b, 0x10: c}") == {"1001": "a", "no": "b", "0x10": "c"}


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("a: b: c\n", r"mapping values are not allowed here \(line 1, column 5\); seen: a: b: c"),
        ("a:\n\t- b\n", r"\(line 2, column 1\); .*Indent with spaces"),
        ("a: [1, 2\n", r"not YAML: .*\(line 2, column 1\)"),
        ("a: 'x\n", r"\(line 2, column 1\); .*Close the bracket or quote"),
        ("a: @x\n", r"\(line 1, column 4\); .*in quotes"),
        ("a: 1\nb: 2\na: 3\n", r"a is stated twice \(line 3, column 1\); .*before on line 1"),
        ("a: *nobody\n", r"nothing is called &nobody here \(line 1, column 4\)"),
        ("a: &x [*x]\n", r"nothing is called &x here \(line 1, column 8\)"),
        ("a: !!python/name:os.system x\n", r"a value carries a tag \(line 1, column 4\)"),
        ("a: 1\n---\nb: 2\n", r"second document \(line 2, column 1\)"),
        (
            "%YAML 1.1\n---\na: 1\n",
            r"another version of YAML .*seen: %YAML 1.1; expected: YAML 1.2",
        ),
        ("? [a, b]\n: 1\n", r"the name of a field is not a word \(line 1, column 3\)"),
        ("a: \x01\n", r"no text file holds \(line 1, column 4\); seen: 0x1"),
    ],
)
def test_wrong_syntax_is_refused_with_line_and_column(text: str, words: str) -> None:
    with pytest.raises(JobError, match=words):
        yaml(text)


def test_a_file_that_blows_itself_up_by_aliases_is_refused() -> None:
    lines = ["a: &a [x, x, x, x, x, x, x, x, x]"]
    for name, before in zip("bcdefghi", "abcdefgh", strict=True):
        lines.append(f"{name}: &{name} [{', '.join([f'*{before}'] * 9)}]")
    with pytest.raises(
        JobError, match=rf"aliases repeat included \(line 6, .*: more than {MAX_VALUES}"
    ):
        yaml("\n".join(lines))


def test_an_alias_repeats_its_value() -> None:
    tree, positions, _ = parse_text(b"a: &x {b: [1, 2]}\nc: *x\n", "yaml")
    assert tree == {"a": {"b": [1, 2]}, "c": {"b": [1, 2]}}
    assert positions["c",] == (2, 4)


@pytest.mark.parametrize(("kind", "text"), [("yaml", "[" * 200), ("json", "[" * 200 + "]" * 200)])
def test_deep_nesting_is_refused(kind: str, text: str) -> None:
    with pytest.raises(JobError, match=r"nested too deeply .*more than 64 levels"):
        parse_text(text.encode(), kind)  # type: ignore[arg-type]  # a parameter of the test


def test_very_deep_json_is_refused_in_words() -> None:
    with pytest.raises(JobError, match="nested too deeply"):
        parse_text(b"[" * 200_000, "json")


def test_a_file_above_the_limit_is_refused_with_its_size() -> None:
    with pytest.raises(JobError, match=f"seen: {MAX_BYTES + 2} bytes; expected: {MAX_BYTES}"):
        parse_text(b"#" * (MAX_BYTES + 2), "yaml")


def test_text_in_another_encoding_is_refused_at_its_byte() -> None:
    with pytest.raises(JobError, match=r"UTF-8 \(line 2, column 4\); seen: byte 0xe4"):
        parse_text("a: 1\nb: ä\n".encode("latin-1"), "yaml")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('{"a": 1, "b": {"a": 2, "a": 3}}', r"a is stated twice \(line 1, column 24\)"),
        ('{"a": NaN}', "finite number"),
        ('{"a": 1e999}', "seen: 1e999"),
        ('{"a": 1,\n}', r"not JSON: .*\(line 2, column 1\)"),
        ("", r"not JSON: .*\(line 1, column 1\)"),
    ],
)
def test_wrong_json_is_refused(text: str, words: str) -> None:
    with pytest.raises(JobError, match=words):
        parse_text(text.encode(), "json")


def test_json_and_yaml_agree_on_tree_and_positions() -> None:
    # JSON is a subset of YAML 1.2 (YAML 1.2.2, 1.3): two readers, one answer.
    text = '{"a": [1, {"b c": "x:,[]{}\\"\\\\"}, []],\n  "d": {"e": null, "f": -1.5e3}, "g": true}'
    from_json, from_yaml = parse_text(text.encode(), "json"), parse_text(text.encode(), "yaml")
    assert from_json == from_yaml


def test_a_wrong_value_is_named_with_file_line_and_column(tmp_path: Path) -> None:
    file = tmp_path / "mole_040.yaml"
    file.write_text(YAML.replace("camera: locked", "camera: fixed"))
    with pytest.raises(JobError) as caught:
        read_job_file(file)
    place = caught.value.problems[0].place
    assert (place.file, place.line, place.column) == (str(file), 4, 9)


def test_a_missing_job_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(JobError, match=r"there is no job file .*none\.yaml"):
        read_job_file(tmp_path / "none.yaml")


def test_a_job_is_read_as_written(tmp_path: Path) -> None:
    file = tmp_path / "mole_040.yaml"
    file.write_text(YAML)
    asked = read_job_file(file)
    assert asked.sequence is None
    assert asked.jobs[0].passes["beauty"].files == "beauty/beauty.%04d.png"
    assert asked.texts == (YAML,)


def test_a_sequence_takes_in_job_files_with_its_defaults(tmp_path: Path) -> None:
    (tmp_path / "shots").mkdir()
    (tmp_path / "shots" / "a.yaml").write_text(YAML.replace("rate: 24\n", ""))
    file = tmp_path / "harbour.yaml"
    file.write_text(
        "glimsum: 1\nsequence: harbour\ndefaults: {rate: 25}\nshots:\n  - job: shots/a.yaml\n"
    )
    asked = read_job_file(file)
    assert asked.sequence == "harbour"
    job = asked.jobs[0]
    assert (job.rate, job.output) == ("25", "shots/out")
    assert job.passes["beauty"].files == "shots/beauty/beauty.%04d.png"


def test_a_problem_in_a_taken_in_job_names_that_file(tmp_path: Path) -> None:
    (tmp_path / "a.yaml").write_text(YAML.replace("camera: locked", "camera: fixed"))
    file = tmp_path / "harbour.yaml"
    file.write_text("glimsum: 1\nsequence: harbour\nshots:\n  - {job: a.yaml}\n  - {job: b.yaml}\n")
    with pytest.raises(JobError, match=r"no job file .*b\.yaml"):
        read_job_file(file)
    file.write_text("glimsum: 1\nsequence: harbour\nshots:\n  - {job: a.yaml}\n")
    with pytest.raises(JobError) as caught:
        read_job_file(file)
    place = caught.value.problems[0].place
    assert (place.file, place.line) == (str(tmp_path / "a.yaml"), 4)


@pytest.mark.parametrize("name", ["../a.yaml", "/etc/passwd", "", 7])
def test_a_sequence_reads_only_files_below_its_folder(tmp_path: Path, name: object) -> None:
    file = tmp_path / "harbour.json"
    file.write_text(f'{{"sequence": "harbour", "shots": [{{"job": {name!r}}}]}}'.replace("'", '"'))
    with pytest.raises(JobError, match="does not name its job file"):
        read_job_file(file)


def test_a_request_can_not_make_the_service_read_files() -> None:
    with pytest.raises(JobError, match="a sequence in a request can't read job files"):
        read_text(b"glimsum: 1\nsequence: s\nshots:\n  - {job: a.yaml}\n", "yaml")


def test_several_jobs_name_each_problem_with_its_place() -> None:
    import json

    wrong = SHOT | {"camera": "fixed", "shot": "mole_050"}
    with pytest.raises(JobError, match="not all of the 2 jobs") as caught:
        read_text(json.dumps({"jobs": [SHOT, wrong]}, indent=1).encode(), "json")
    assert [problem.place.shot for problem in caught.value.problems] == ["mole_050"]
