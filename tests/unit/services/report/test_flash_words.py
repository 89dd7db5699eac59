from glimsum_jobs.flash_figures import Flashing, FlashSecond
from glimsum_services.report.flashes import flash_words


def second(flashes: int, kind: str = "general", area: str = "picture") -> FlashSecond:
    frames = tuple(range(1040, 1040 + 3 * flashes, 3))
    told = {"kind": kind, "area": area, "flashes": flashes, "frames": frames, "box": (0, 0, 64, 36)}
    return FlashSecond.model_validate(told)


def words(**told: object) -> str:
    return flash_words(Flashing.model_validate(told).model_dump(mode="json"))


def test_a_quiet_movie_is_told_as_such() -> None:
    assert words() == "no flashes in the movie (an aid, not a certificate)"


def test_the_worst_second_is_told_with_its_frame_and_verdict() -> None:
    told = words(seconds=[second(1, "red"), second(3, area="field")])
    assert told.startswith("3 general flashes in the worst second, from 1040: within the limit")


def test_a_movie_over_the_limit_names_its_sheet() -> None:
    told = words(seconds=[second(4)], over=[1040], picture="viewing/a_flashes.png")
    assert "4 general flashes in the worst second, from 1040: OVER THE LIMIT" in told
    assert "viewing/a_flashes.png" in told


def test_a_movie_nobody_looked_at_is_told_by_silence() -> None:
    assert flash_words(None) == ""
    assert flash_words({"kind": "of another release"}) == ""
