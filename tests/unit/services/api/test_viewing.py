"""Previews and the movie: whole, in parts, and only when they changed."""

import pytest

from support.api_server import Running
from support.api_work import SHOT, wait_for

RUN = "mole_040/v001"
HERE = "/shots/mole_040/versions/1"

# The smallest JPEG start and end markers (ITU-T T.81, B.1.1.3: SOI FFD8, EOI FFD9).
PICTURE = b"\xff\xd8\xff\xd9"


def test_a_preview_is_shown_and_asked_for_once(running: Running) -> None:
    running.http.post("/shots", json=SHOT)
    running.work.check(RUN)
    running.work.solve(RUN)
    running.work.combine(RUN, PICTURE)
    answer = running.http.get(f"{HERE}/frames/1001/preview")
    assert (answer.content, answer.headers["content-type"]) == (PICTURE, "image/jpeg")
    # RFC 9110, 13.1.2: If-None-Match with the same ETag is answered by 304.
    same = running.http.get(
        f"{HERE}/frames/1001/preview", headers={"If-None-Match": answer.headers["etag"]}
    )
    assert (same.status_code, same.content) == (304, b"")
    missing = running.http.get(f"{HERE}/frames/1002/preview")
    assert (missing.status_code, missing.json()["errors"][0]["seen"]) == (404, "not finished")


@pytest.mark.parametrize(
    ("asked", "expected", "range_answered"),
    [
        # RFC 9110, 14.1.2: first-last, first to the end, the last n bytes.
        ("bytes=2-4", b"234", "bytes 2-4/10"),
        ("bytes=7-", b"789", "bytes 7-9/10"),
        ("bytes=-4", b"6789", "bytes 6-9/10"),
        ("bytes=5-99", b"56789", "bytes 5-9/10"),
    ],
)
def test_a_part_of_the_movie_may_be_asked_for(
    running: Running, asked: str, expected: bytes, range_answered: str
) -> None:
    finish_with_movie(running)
    part = running.http.get(f"{HERE}/movie", headers={"Range": asked})
    assert (part.status_code, part.content) == (206, expected)
    assert part.headers["content-range"] == range_answered


def finish_with_movie(running: Running) -> None:
    running.http.post("/shots", json=SHOT)
    running.work.check(RUN)
    running.work.solve(RUN)
    for _ in range(12):
        running.work.combine(RUN)
    remark = {"rank": "remark", "what": "lamps clip on 3 frames"}
    running.work.finish(RUN, [remark], b"0123456789")


def test_the_movie_and_all_remarks_are_shown_at_the_end(running: Running) -> None:
    finish_with_movie(running)
    wait_for(lambda: running.http.get(HERE).json()["ended"] is not None)
    view = running.http.get(HERE).json()
    assert [each["what"] for each in view["problems"]] == ["lamps clip on 3 frames"]
    assert view["movie"] == "out:mole_040/v001/viewing/m.mp4"
    whole = running.http.get(view["links"]["movie"])
    assert (whole.content, whole.headers["content-type"]) == (b"0123456789", "video/mp4")
    beyond = running.http.get(view["links"]["movie"], headers={"Range": "bytes=10-"})
    assert (beyond.status_code, beyond.headers["content-range"]) == (416, "bytes */10")
