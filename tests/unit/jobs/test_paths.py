import pytest

from glimsum_jobs.errors import PathError
from glimsum_jobs.paths import FilePattern, RootPath, parse_root_path, pattern_of


def test_a_path_reads_back_as_it_was_written() -> None:
    path = parse_root_path("plates:haze/haze.0104.jpg")

    assert path == RootPath("plates", "haze/haze.0104.jpg")
    assert (str(path), path.name, path.folder) == (
        "plates:haze/haze.0104.jpg",
        "haze.0104.jpg",
        RootPath("plates", "haze"),
    )
    assert path.folder.child("a.jpg") == RootPath("plates", "haze/a.jpg")
    assert RootPath("plates", "").child("a.jpg").parts == ("a.jpg",)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("haze.jpg", "does not name its root.*'haze.jpg'.*root:path"),
        ("plates:", "without a path"),
        ("plates:/etc/passwd", "absolute, climbs.*the part ''"),
        ("plates:../x.dpx", r"the part '\.\.'"),
        ("plates:a/../../x.dpx", r"the part '\.\.'"),
        ("plates:a//x.dpx", "the part ''"),
        ("plates:./x.dpx", r"the part '\.'"),
        ("plates:x.dpx\0.jpg", r"no plain path holds.*'\\x00'"),
        ("plates:x\n.dpx", r"no plain path holds.*'\\n'"),
        ("plates:a\\..\\x.dpx", "no plain path holds"),
        ("pl/ates:x.dpx", "not a plain word.*'pl/ates'"),
        ("plates:" + "/".join(["a" * 200] * 6), "too long.*1205 bytes.*1024 bytes"),
        ("plates:" + "a" * 256, "too long.*256 bytes.*255 bytes"),
    ],
)
def test_a_path_that_is_not_plain_is_refused_with_what_was_seen(text: str, words: str) -> None:
    with pytest.raises(PathError, match=f"(?s){words}"):
        parse_root_path(text)


# ISO C, fprintf: %04d pads with zeros to four digits and never cuts.
@pytest.mark.parametrize(
    ("pattern", "number", "name"),
    [
        ("a.%04d.dpx", 7, "a.0007.dpx"),
        ("a.%04d.dpx", 86402, "a.86402.dpx"),
        ("a.%d.dpx", 0, "a.0.dpx"),
        ("100%%_%03d.tif", 12, "100%_012.tif"),
    ],
)
def test_numbers_print_and_read_as_c_prints_them(pattern: str, number: int, name: str) -> None:
    files = FilePattern(pattern)

    assert files.name(number) == name == pattern % number
    assert files.number(name) == number
    assert files.is_sequence


@pytest.mark.parametrize(
    "name", ["a.007.dpx", "a.00007.dpx", "a.0007.jpg", "xa.0007.dpx", "a.\u0660007.dpx"]
)
def test_a_name_that_no_number_prints_has_no_number(name: str) -> None:
    assert FilePattern("a.%04d.dpx").number(name) is None


def test_digits_are_found_even_when_padded_wrongly() -> None:
    assert FilePattern("a.%04d.dpx").digits("a.00007.dpx") == "00007"


def test_a_name_without_a_number_is_one_file() -> None:
    still = FilePattern("board 50%%.png")

    assert not still.is_sequence
    assert still.name(3) == "board 50%.png"
    assert still.number("board 50%.png") is None


@pytest.mark.parametrize("text", ["a.%04d.%04d.dpx", "a.%4d.dpx", "a.%s.dpx", "a%", "a.%010d.dpx"])
def test_a_pattern_that_names_no_single_file_is_refused(text: str) -> None:
    with pytest.raises(PathError, match=r"can't be read.*one %04d"):
        FilePattern(text)


def test_a_number_in_a_folder_name_is_refused() -> None:
    with pytest.raises(PathError, match=r"in a folder's name.*'take%04d'"):
        pattern_of(RootPath("plates", "take%04d/a.dpx"))


def test_a_negative_number_is_refused() -> None:
    with pytest.raises(PathError, match=r"negative.*-1.*0 or more"):
        FilePattern("a.%04d.dpx").name(-1)
