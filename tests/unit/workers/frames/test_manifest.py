import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from glimsum_jobs.errors import OutputError
from glimsum_workers.frames.manifest import (
    append_line,
    read_lines,
    write_manifest,
)


def test_lines_of_all_workers_are_read_in_order(tmp_path: Path) -> None:
    append_line(tmp_path, "bench/12", {"stage": "combine", "item": "1003", "digest": "b"})
    append_line(tmp_path, "attic/9", {"stage": "combine", "item": "1001", "digest": "a"})
    append_line(tmp_path, "bench/12", {"stage": "combine", "item": "1004", "digest": "c"})
    (tmp_path / "notes.txt").write_text("{}")

    lines = read_lines(tmp_path)

    assert [record["item"] for record in lines.records] == ["1001", "1003", "1004"]
    assert lines.torn == ()
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "attic_9.jsonl",
        "bench_12.jsonl",
        "notes.txt",
    ]


@pytest.mark.parametrize("kept", range(1, 24))
def test_a_line_torn_by_a_death_costs_only_itself(tmp_path: Path, kept: int) -> None:
    append_line(tmp_path, "w", {"stage": "combine", "item": "1"})
    append_line(tmp_path, "w", {"stage": "combine", "item": "2", "name": "a.exr"})
    whole = (tmp_path / "w.jsonl").read_bytes()
    second = whole.index(b"\n") + 1
    (tmp_path / "w.jsonl").write_bytes(whole[: second + kept])

    append_line(tmp_path, "w", {"stage": "combine", "item": "3"})

    lines = read_lines(tmp_path)
    assert [record["item"] for record in lines.records] == ["1", "3"]
    assert lines.torn == ("w.jsonl",)


def test_a_line_that_lacks_only_its_end_is_kept(tmp_path: Path) -> None:
    append_line(tmp_path, "w", {"stage": "combine", "item": "1"})
    (tmp_path / "w.jsonl").write_bytes((tmp_path / "w.jsonl").read_bytes().rstrip(b"\n"))

    append_line(tmp_path, "w", {"stage": "combine", "item": "2"})

    assert [record["item"] for record in read_lines(tmp_path).records] == ["1", "2"]


@pytest.mark.parametrize(
    "line", ["[]", "3", '{"item": "1"}', '{"stage": "combine", "item": 1}', "{}", "\u00fc{"]
)
def test_a_line_that_is_no_item_is_told_and_left_out(tmp_path: Path, line: str) -> None:
    (tmp_path / "w.jsonl").write_text(line + "\n")

    assert read_lines(tmp_path).records == ()
    assert read_lines(tmp_path).torn == ("w.jsonl",)


ADD = """
import sys
from pathlib import Path
from glimsum_workers.frames.manifest import append_line

for i in range(50):
    told = {"stage": "combine", "item": str(int(sys.argv[2]) + i), "padding": "x" * 300}
    append_line(Path(sys.argv[1]), "w", told)
"""


def test_processes_that_share_a_file_lose_no_line(tmp_path: Path) -> None:
    known = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    processes = [
        subprocess.Popen([sys.executable, "-c", ADD, str(tmp_path), first], env=known)
        for first in ("1000", "2000")
    ]
    assert [process.wait() for process in processes] == [0, 0]

    lines = read_lines(tmp_path)

    assert lines.torn == ()
    assert sorted(int(r["item"]) for r in lines.records) == [*range(1000, 1050), *range(2000, 2050)]


def test_the_manifest_is_written_whole_and_the_same_each_time(tmp_path: Path) -> None:
    frames = [{"stage": "combine", "item": "1", "digest": "one"}]
    write_manifest(tmp_path, {"version": 3, "shot": "mole_040"}, frames, "t")
    first = (tmp_path / "manifest.json").read_bytes()
    write_manifest(tmp_path, {"shot": "mole_040", "version": 3}, frames, "u")

    assert json.loads(first) == {"shot": "mole_040", "version": 3, "frames": frames}
    assert (tmp_path / "manifest.json").read_bytes() == first
    assert [path.name for path in tmp_path.iterdir()] == ["manifest.json"]


def test_a_folder_that_is_gone_is_told(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match=r"can't be entered.*gone/w\.jsonl.*No such file"):
        append_line(tmp_path / "gone", "w", {"stage": "combine", "item": "1"})
